"""The statements of a site as they lie in its folder, in chains: one for each rule set.

In: a site. Out: `Chains`: the documents of each rule set in order, what is wrong with their files and links, and where the next one goes.
Refuses (code CLI123) a file with the name of a statement that is none.

A chain is known by what its documents say. The statements of the rule set of the site's first engine lie in the folder itself, where former
versions put all; those of each other rule set in a folder of its own. What lies in any other folder was put away, and is passed over.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from intervals.questions.statement.statement_changes import record_changes, row_changes
from intervals.questions.statement.statement_documents import Written, read_written
from intervals.questions.statement.statements import Previous
from intervals.site.model import Site
from intervals.site.sources import HEADS_FILE, STATEMENTS_FOLDER

_NAME = re.compile(r"((?:19|20|21)[0-9]{2}-(?:0[1-9]|1[0-2]))(?:\.amended-([1-9][0-9]{0,3}))?\.json")
_PLAIN = re.compile(r"[a-z0-9][a-z0-9_-]*")
_SHORT = 8


@dataclass(frozen=True)
class Document:
    """A statement or an amendment in its file.

    Attributes:
        path: the file.
        file: its path below the folder of statements, with slashes.
        month: `YYYY-MM`, of its name.
        number: of its name: 0 for the statement, from 1 for its amendments.
        digest: SHA-256 of the file, its line ends taken as line feeds.
        written: what it holds.
    """

    path: Path
    file: str
    month: str
    number: int
    digest: str
    written: Written

    def link(self, *, beside: Path) -> Previous:
        """Return what another document in a folder says of this one."""
        is_plain = self.number == 0 and self.path.parent == beside
        return Previous(month=self.month, sha256=self.digest, file=None if is_plain else self.file)


@dataclass(frozen=True)
class Chain:
    """The documents of one rule set, in order of month and number.

    Attributes:
        rulesets: its id; several ids where a former version stated all rule sets of a site together.
        documents: statements and amendments.
    """

    rulesets: tuple[str, ...]
    documents: tuple[Document, ...]

    def months(self) -> list[str]:
        """Return the months that were stated, in order."""
        return list(dict.fromkeys(document.month for document in self.documents))

    def of_month(self, month: str) -> list[Document]:
        """Return the statement of a month and its amendments, in order."""
        return [document for document in self.documents if document.month == month]


class Chains:
    """All statements of a site.

    Args:
        site: the site.
    """

    def __init__(self, site: Site) -> None:
        self.folder = site.folder / STATEMENTS_FOLDER
        self._site = site
        names = sorted([*self.folder.glob("*.json"), *self.folder.glob("*/*.json")]) if self.folder.is_dir() else []
        documents = [self._document(path, match) for path in names if (match := _NAME.fullmatch(path.name)) is not None]
        self._by_file = {document.file: document for document in documents if self._is_in_place(document)}
        self.all = tuple(self._in_chains(list(self._by_file.values())))

    def strays(self) -> list[str]:
        """Return the JSON files among the statements that are none: by their names, or by the folder that they lie in."""
        found = [path for path in (*self.folder.glob("*"), *self.folder.glob("*/*")) if path.suffix.lower() == ".json"]
        names = sorted(path.relative_to(self.folder).as_posix() for path in found)
        return [name for name in names if name not in self._by_file and name != HEADS_FILE]

    def of(self, ruleset: str) -> Chain:
        """Return the chain of a rule set, which may be empty."""
        return next((chain for chain in self.all if chain.rulesets == (ruleset,)), Chain((ruleset,), ()))

    def joint(self, ruleset: str) -> Chain | None:
        """Return the statements of a former version that hold several rule sets, this one among them."""
        return next((chain for chain in self.all if len(chain.rulesets) > 1 and ruleset in chain.rulesets), None)

    def folder_for(self, ruleset: str, *, is_first: bool) -> Path:
        """Return the folder that the next statement of a rule set goes to.

        Args:
            ruleset: its id.
            is_first: whether it judges the site's first engine.
        """
        own = self.of(ruleset).documents
        if own:
            return own[-1].path.parent
        others = [chain for chain in self.all if ruleset not in chain.rulesets]
        is_free = not any(document.path.parent == self.folder for chain in others for document in chain.documents)
        return self.folder if is_first and is_free else self.folder / folder_name(ruleset)

    def head_for(self, ruleset: str) -> Document | None:
        """Return what was stated or amended last by a rule set; before its first statement, what a former version stated last."""
        chain = self.of(ruleset)
        return self.head_of(chain if chain.documents else self.joint(ruleset) or chain)

    def head_of(self, chain: Chain) -> Document | None:
        """Return what was stated or amended last in a chain: no other document in it says that it followed this one."""
        followed = {self._target(document, link) for document in chain.documents if (link := document.written.previous) is not None}
        heads = [document for document in chain.documents if document.file not in followed]
        # where a statement was put in the place of another one, each may say that it followed the other
        return next(reversed(heads or chain.documents), None)

    def faults(self, chain: Chain, month: str) -> list[str]:
        """Return what is wrong with the files of a month, and with their place in the row of statements."""
        documents = chain.of_month(month)
        found = list[str]()
        for place, document in enumerate(documents):
            before = documents[place - 1] if place else None
            faults = (
                *self._own_faults(document),
                *self._number_faults(document, before),
                *self._content_faults(document, before),
                *self._link_faults(chain, document),
            )
            found += [f"amendment {document.number}: {fault}" if document.number else fault for fault in faults]
        return found

    def _document(self, path: Path, name: re.Match[str]) -> Document:
        """Return what a file holds."""
        data = path.read_bytes().replace(b"\r\n", b"\n")
        written = read_written(data.decode("utf-8", "replace"), str(path))
        file = path.relative_to(self.folder).as_posix()
        return Document(path, file, name[1], int(name[2] or 0), hashlib.sha256(data).hexdigest(), written)

    def _is_in_place(self, document: Document) -> bool:
        """Tell whether a document lies in the folder itself, or in that of its rule set."""
        folder, ids = document.path.parent, document.written.stated.ruleset_ids
        return folder == self.folder or (len(ids) == 1 and folder.name == folder_name(ids[0]))

    @staticmethod
    def _in_chains(documents: Sequence[Document]) -> Iterator[Chain]:
        """Yield the chains, those that lie in the folder itself first."""
        by_ids: dict[tuple[str, ...], list[Document]] = {}
        for document in documents:
            by_ids.setdefault(document.written.stated.ruleset_ids, []).append(document)
        for ids, own in sorted(by_ids.items(), key=lambda entry: ("/" in entry[1][0].file, entry[0])):
            yield Chain(ids, tuple(sorted(own, key=lambda document: (document.month, document.number, document.file))))

    def _own_faults(self, document: Document) -> Iterator[str]:
        """Yield what is wrong with a file by itself."""
        written = document.written
        if not written.is_whole:
            yield f"tampered with: {document.file} was edited after it was written, its content does not fit the digest that it carries"
        if written.stated.site != self._site.site:
            yield f"{document.file} is a statement of site {written.stated.site}"
        said = {written.stated.month, *([written.amendment.month] if written.amendment is not None else [])}
        if said != {document.month}:
            yield f"{document.file} says that it is of {', '.join(sorted(said - {document.month}))}"
        number = 0 if written.amendment is None else written.amendment.number
        if number != document.number:
            yield f"{document.file} says that it is {f'amendment {number}' if number else 'a statement'}"

    @staticmethod
    def _number_faults(document: Document, before: Document | None) -> Iterator[str]:
        """Yield what is wrong with a document's number beside the one before it in its month."""
        if before is None and document.number:
            yield f"the statement of {document.month} is gone"
        elif before is not None and before.number == document.number:
            yield f"{before.file} and {document.file} are both there"
        elif before is not None and document.number - before.number > 1:
            yield f"amendment {before.number + 1} of {document.month} is gone"

    @staticmethod
    def _content_faults(document: Document, before: Document | None) -> Iterator[str]:
        """Yield where an amendment says that other records or rows changed than its statement and the one before differ in."""
        amendment = document.written.amendment
        if amendment is None or before is None:
            return
        was, now = before.written.stated, amendment.statement
        if tuple(record_changes(was.records, now.records)) != amendment.changes.records:
            yield "the records that it names as changed are not the ones that differ in its statement"
        rows = [(change.change, change.engine, change.first_day, change.last_day) for change in amendment.changes.rows]
        if rows != [(each.change, each.engine, each.first_day, each.last_day) for each in row_changes(was.rows, now.rows, lambda *_: "")]:
            yield "the rows of the log that it names as changed are not the ones that differ in its statement"

    def _link_faults(self, chain: Chain, document: Document) -> Iterator[str]:
        """Yield where a document does not follow, or amend, the file that it says."""
        written = document.written
        amends = None if written.amendment is None else written.amendment.amends
        if amends is not None:
            yield from self._link_fault(document, amends, "amends")
        if written.previous is not None:
            if amends is None or self._target(document, amends) != self._target(document, written.previous):
                yield from self._link_fault(document, written.previous, "followed")
        elif written.is_sealed:
            for other in chain.documents:
                if other is not document and not (other.written.is_sealed and other.written.previous is not None):
                    yield (
                        f"it says that nothing was stated before it, and so does {other.file}"
                        if other.written.is_sealed
                        else (f"it says that nothing was stated before it, and {other.file} was")
                    )

    def _link_fault(self, document: Document, link: Previous, word: str) -> Iterator[str]:
        """Yield what is wrong with the file that a document follows or amends."""
        target = self._target(document, link)
        name = _NAME.fullmatch(target.rsplit("/", 1)[-1])
        called = f"amendment {name[2]} of {link.month}" if name is not None and name[2] else f"the statement of {link.month}"
        found = self._by_file.get(target)
        if found is None:
            yield f"{called}, which it {word}, is gone"
        elif found.digest != link.sha256:
            yield f"{called} is not the file that it {word}"

    def _target(self, document: Document, link: Previous) -> str:
        """Return the file that a link of a document means, below the folder of statements."""
        if link.file is not None:
            return link.file
        return (document.path.parent / f"{link.month}.json").relative_to(self.folder).as_posix()


def folder_name(ruleset: str) -> str:
    """Return the name of a rule set's folder: its id, or as much of it as every system can name a folder.

    Example:
        >>> folder_name("us-area-source"), folder_name("Ölwechsel/2")
        ('us-area-source', 'lwechsel-2-e991ae25')
    """
    if _PLAIN.fullmatch(ruleset):
        return ruleset
    plain = re.sub(r"[^a-z0-9_-]+", "-", ruleset.lower()).strip("-_")
    return f"{plain}-{hashlib.sha256(ruleset.encode('utf-8')).hexdigest()[:_SHORT]}".lstrip("-")
