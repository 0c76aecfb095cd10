"""What stands in `records/` is never read or written through a link, and nothing else than a file is waited for."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from intervals.problems import RequestProblemError
from intervals.questions.record.given_files import read_given
from intervals.site.model import Site
from tests.filled_cards import filled, write_filled
from tests.recorded_sites import card_of, recorded, recorded_site, recording_of, services_of

STANDING = "2026-03-02T14:00"
pytestmark = pytest.mark.skipif(os.name != "posix", reason="links and pipes of that system")


@pytest.fixture
def site(tmp_path: Path) -> Site:
    """Return the small site with its folder of records."""
    made = recorded_site(tmp_path / "site")
    (made.folder / "records").mkdir()
    return made


@pytest.mark.parametrize("name", [".pending", "CODE.card.json", "digests.csv", "measures.csv", ".lock"])
@pytest.mark.parametrize("target", ["../services.csv", "../../outside.csv"])
def test_a_link_in_the_folder_of_records_is_not_followed(site: Site, name: str, target: str) -> None:
    """The service records, and a file outside, stay as they are; nothing is recorded, and it is said."""
    handed = filled(card_of(site), STANDING)
    outside = site.folder.parent / "outside.csv"
    outside.touch()
    recording = recording_of(site, handed)
    before = services_of(site)
    (site.folder / "records" / name.replace("CODE", handed.code)).symlink_to(target)
    with pytest.raises(RequestProblemError, match=r"is a link, which is not followed here|the file of service records itself"):
        recording.write()
    assert services_of(site) == before
    assert outside.read_bytes() == b""


def test_a_trial_that_is_a_link_is_swept_away(site: Site) -> None:
    """It goes like every trial that was left over; what it leads to stays."""
    before = services_of(site)
    (site.folder / "records" / ".trial.csv").symlink_to("../services.csv")
    recorded(site, filled(card_of(site), STANDING))
    assert services_of(site).startswith(before)
    assert len(services_of(site)) > len(before)


def test_records_in_the_place_of_a_kept_file_are_refused(tmp_path: Path) -> None:
    """A site whose service records are called like a file of this program loses none of them."""
    site = recorded_site(tmp_path)
    (tmp_path / "records").mkdir()
    text = (tmp_path / "services.csv").read_text("utf-8")
    (tmp_path / "records" / "measures.csv").write_text(text, "utf-8")
    site = recorded_site(tmp_path, reads_records={"file": "records/measures.csv"})
    with pytest.raises(RequestProblemError):
        recorded(site, filled(card_of(site), STANDING))
    assert (tmp_path / "records" / "measures.csv").read_text("utf-8") == text


def test_service_records_may_be_a_link(site: Site) -> None:
    """They are only appended to: what the link leads to gets the row."""
    real = site.folder.parent / "real.csv"
    (site.folder / "services.csv").rename(real)
    (site.folder / "services.csv").symlink_to(real)
    before = real.read_bytes()
    recorded(site, filled(card_of(site), STANDING))
    assert real.read_bytes().startswith(before)
    assert (site.folder / "services.csv").is_symlink()


def test_a_pipe_is_not_waited_for(site: Site) -> None:
    """A pipe, a device and a folder hand nothing in; a link to a card does."""
    folder = site.folder.parent
    os.mkfifo(folder / "pipe.card.json")
    (folder / "zero.card.json").symlink_to("/dev/zero")
    (folder / "folder.card.json").mkdir()
    for name in ("pipe", "zero", "folder"):
        with pytest.raises(RequestProblemError, match="is not a regular file"):
            read_given(site, folder / f"{name}.card.json", None)
    path = write_filled(filled(card_of(site), STANDING), folder)
    (folder / "link.card.json").symlink_to(path)
    assert read_given(site, folder / "link.card.json", None).content == path.read_bytes()
