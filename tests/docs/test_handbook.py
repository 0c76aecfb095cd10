"""The handbook: every page is listed, every command in it runs, every block of YAML is read, and what is made is current."""

from __future__ import annotations

import re
import shlex
import tomllib
from pathlib import Path

import pytest
import yaml
from typer.testing import CliRunner

from intervals.cli.main import app
from intervals.cli.pages.command_pages import commands_page, pages_made
from intervals.cli.pages.library_page import FOR_USERS, libraries
from intervals.handbook import PAGES, page_summary, page_text
from intervals.problems import RequestProblemError
from intervals.rules.ruleset import load_ruleset
from intervals.site.model import load_site

ROOT = Path(__file__).parents[2]
_BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.DOTALL | re.MULTILINE)
_CODE = re.compile(r"\s+# exit code (\d).*")
_COMMENT = re.compile(r"\s+# .*")
WRITTEN = [name for name in PAGES if name not in ("commands", "faults")]
RULE_SET_HEAD = "ruleset: part\ntitle: Part\nversion: '1'\nsource: common practice\n"


def test_every_page_is_listed_and_every_listed_page_is_there() -> None:
    """The pages in the folder are those that the program lists, each with a title and a sentence."""
    there = {path.stem for path in (ROOT / "intervals" / "handbook").glob("*.md")}
    assert there == set(PAGES)
    for name in PAGES:
        title, about = page_summary(name)
        assert title
        assert about.endswith((".", "?"))


@pytest.mark.parametrize("path", [ROOT / "README.md", *sorted((ROOT / "intervals/handbook").glob("*.md"))], ids=lambda path: path.stem)
def test_what_is_made_from_the_program_is_current(path: Path) -> None:
    """The table of commands and the pages made from the program are what it would make now."""
    made = pages_made(ROOT)
    if path in made:
        assert path.read_text("utf-8") == made[path], "run: python -m intervals.cli.pages.command_pages"


def test_an_option_s_line_says_what_it_takes() -> None:
    """A choice shows its words, a path its placeholder."""
    page = commands_page()
    assert "| `--format table\\|json\\|csv` |" in page
    assert "| `--output FILE` |" in page


@pytest.mark.parametrize("name", WRITTEN)
def test_the_blocks_of_a_page_work_in_their_order(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Files are written, commands end with the exit code beside them, Python runs, parts of a rule set or a site are read."""
    (tmp_path / "sample_logs").symlink_to(ROOT / "sample_logs")
    monkeypatch.chdir(tmp_path)
    for language, text in _BLOCK.findall(page_text(name)):
        first, _, rest = text.partition("\n")
        if first.startswith("# file: "):
            path = Path(first.removeprefix("# file: "))
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(rest, encoding="utf-8")
        elif first == "# part of a rule set":
            Path("part.yaml").write_text(RULE_SET_HEAD + rest, encoding="utf-8")
            assert load_ruleset(Path("part.yaml")).tasks
        elif first == "# part of site.yaml":
            _read_part_of_site(rest)
        elif language == "sh":
            for line in text.splitlines():
                _run(line, name)
        elif language == "python":
            exec(compile(text, name, "exec"), {})
        else:
            assert language == "bash", f"{name}: a block of {language} that nothing reads"


def _run(line: str, name: str) -> None:
    """Run a command of a page, and hold its exit code against the one that stands beside it."""
    wanted = _CODE.search(line)
    words = shlex.split(_COMMENT.sub("", line))
    assert words[0] == "intervals"
    result = CliRunner().invoke(app, words[1:])
    assert result.exit_code == int(wanted[1] if wanted else 0), f"{name}: {line}\n{result.output}"


def _read_part_of_site(text: str) -> None:
    """Read a part of site.yaml as a whole site would hold it: laid over the sample plant's own."""
    folder = Path("part-of-site")
    folder.mkdir(exist_ok=True)
    whole = yaml.safe_load((ROOT / "sample_logs/brackwater/site.yaml").read_text("utf-8"))
    whole |= yaml.safe_load(text)
    (folder / "site.yaml").write_text(yaml.safe_dump(whole, sort_keys=False, allow_unicode=True), encoding="utf-8")
    assert load_site(folder).engines


def test_a_page_in_a_pipe_is_plain_markdown_and_an_unknown_one_is_refused() -> None:
    """What is piped is the text of the page; a name near a page's says which may be meant."""
    assert CliRunner().invoke(app, ["handbook", "laws"]).stdout == page_text("laws")
    listed = CliRunner().invoke(app, ["handbook"]).stdout
    assert all(f"\n{name} " in f"\n{listed}" for name in PAGES)
    with pytest.raises(RequestProblemError, match="heavy-duty"):
        page_text("heavy-duti")
    assert CliRunner().invoke(app, ["handbook", "laws-and-rules"]).exit_code == 2


def test_every_library_has_its_licence() -> None:
    """The page that `python -m intervals.cli.pages.library_page` makes lists what pyproject.toml asks for, each with a licence."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    extras = project["optional-dependencies"]
    asked = [*project["dependencies"], *(each for extra in FOR_USERS for each in extras[extra])]
    names = {re.split(r"[^A-Za-z0-9._-]", each)[0] for each in asked}
    rows = [[cell.strip(" `") for cell in line.split("|")[1:-1]] for line in page_text("libraries").splitlines() if line.startswith("| `")]
    assert {row[0] for row in rows} == names
    assert all(row[1] for row in rows)
    # what is installed here may be newer than what the page was made from, and lacks nothing of it
    assert {each.name for each in libraries()} == names
