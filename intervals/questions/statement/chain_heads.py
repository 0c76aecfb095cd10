"""The list of what was stated last: `statements/chains.json`, which says how long each chain is and what its last document was.

In: the chains of a site. Out: the text of the list, and what is wrong where chains are shorter than it says. Refuses (code CLI123) a list
that cannot be read. A document that was removed from the end of a chain is missed by no other one; the list misses it.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field

from intervals.documents import json_text
from intervals.problems import Problem, RequestProblemError
from intervals.questions.statement.statement_chains import Chain, Chains
from intervals.questions.statement.statement_documents import SEAL, digest_of
from intervals.site.model import Site
from intervals.site.sources import HEADS_FILE
from intervals.writing import write_whole

HEADS_SCHEMA = "intervals.statement-chains/1"


class Head(BaseModel):
    """The end of one chain: how many documents it has, and the last one's file and digest."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    count: int = Field(ge=1)
    last: str
    sha256: str


class Heads(BaseModel):
    """The list.

    Attributes:
        site: site id.
        chains: the end of each chain, by the ids of its rule sets, parted by blanks.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    site: str
    chains: dict[str, Head]


def heads_text(site: str, heads: Mapping[str, Head]) -> str:
    """Return the list as it is written to its file: JSON, its own digest last."""
    body = {"schema": HEADS_SCHEMA, "site": site, "chains": {name: heads[name].model_dump() for name in sorted(heads)}}
    return json_text({**body, SEAL: digest_of(body)})


def heads_of(chains: Chains) -> dict[str, Head]:
    """Return the end of each chain as the files are now."""
    return {
        _name(chain): Head(count=len(chain.documents), last=head.file, sha256=head.digest)
        for chain in chains.all
        if (head := chains.head_of(chain)) is not None
    }


def read_heads(folder: Path) -> Heads | None:
    """Return the list of a folder of statements, or None where there is none.

    Raises:
        RequestProblemError: it cannot be read, or was edited (code CLI123).
    """
    path = folder / HEADS_FILE
    if not path.is_file():
        return None
    try:
        body = json.loads(path.read_text("utf-8"))
        schema, seal = body.pop("schema", None), body.pop(SEAL, None)
        found = Heads.model_validate(body)
    except (ValueError, AttributeError, TypeError) as error:
        said = str(error).split("\n", maxsplit=1)[0]
        raise _refused(path, f"not a list of statements as this version reads them: {said}") from None
    if schema != HEADS_SCHEMA or seal != digest_of({"schema": schema, **body}):
        raise _refused(path, "tampered with: it was edited after it was written, its content does not fit the digest that it carries")
    return found


def head_faults(chain: Chain, heads: Heads | None) -> Iterator[str]:
    """Yield where a chain is shorter than it was, or ends otherwise.

    Args:
        chain: the chain.
        heads: the list, or None where it is not there.
    """
    if heads is None:
        if any(document.written.stated.is_listed for document in chain.documents):
            yield f"{HEADS_FILE}, which lists what was stated last, is gone: statements may be missing at the end"
        return
    listed = heads.chains.get(_name(chain))
    if listed is None:
        return
    last = next((document for document in chain.documents if document.file == listed.last), None)
    if last is None:
        yield f"{listed.last}, the last of {listed.count} that were stated, is gone"
    elif last.digest != listed.sha256:
        yield f"{listed.last} is not the file that was stated last"
    elif len(chain.documents) < listed.count:
        yield f"{listed.count - len(chain.documents)} of {listed.count} that were stated up to {listed.last} are gone"


def lost_chains(chains: Chains, heads: Heads | None) -> list[str]:
    """Return what to say of chains of which nothing is left."""
    there = {_name(chain) for chain in chains.all}
    lost = {} if heads is None else {name: head for name, head in heads.chains.items() if name not in there}
    return [f"all {head.count} statements by {name} up to {head.last}" for name, head in lost.items()]


def _name(chain: Chain) -> str:
    """Return the name of a chain in the list."""
    return " ".join(chain.rulesets)


def _refused(path: Path, text: str) -> RequestProblemError:
    """Return the refusal of a list."""
    fix = "put it back as it was; only if you know why it changed, move it away and state or amend a month, which writes it anew"
    return RequestProblemError([Problem("CLI123", str(path), None, None, text, fix)])


def refuse_shortened(chains: Chains) -> None:
    """Refuse to write beside statements of which some were removed: the new list would no longer miss them.

    Raises:
        RequestProblemError: a chain is shorter than the list says, or ends otherwise (code CLI126).
    """
    heads = read_heads(chains.folder)
    found = [fault for chain in chains.all for fault in head_faults(chain, heads)]
    found += [f"{lost} are gone" for lost in lost_chains(chains, heads)]
    fix = "put back what was removed; see it with --verify"
    if found:
        raise RequestProblemError([Problem("CLI126", str(chains.folder / HEADS_FILE), None, None, text, fix) for text in found])


def write_heads(site: Site) -> Chains:
    """Write the list anew where it is not as the statements are; return the chains as they are now.

    Args:
        site: the site, whose statements were just written.
    """
    chains = Chains(site)
    text = heads_text(site.site, heads_of(chains))
    path = chains.folder / HEADS_FILE
    if chains.all and (not path.is_file() or path.read_text("utf-8") != text):
        write_whole(path, text)
    return chains
