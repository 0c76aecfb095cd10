"""Files by address: what an address may be, which files a pattern names, how one is opened, what cannot be read."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from intervals.addresses import Address, AddressError, files_at, flaw_of_address, is_address, place_of
from tests.object_store import BUCKET, ObjectStore, object_store


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("ftp://plant/a.csv", 'the kind "ftp"'),
        ("https://plant/a.csv", 'the kind "https"'),
        ("s3://key:secret@bucket/a.csv", "no name, password or port"),
        ("s3://key@bucket/a.csv", "no name, password or port"),
        ("s3://bucket:9000/a.csv", "no name, password or port"),
        ("s3://bucket/a.csv?endpoint_override=x", "no options"),
        ("s3://bucket", "a file or a pattern"),
        ("s3:///a.csv", "one bucket"),
        ("s3://b*/a.csv", "one bucket"),
        ("s3://bucket/a/../b.csv", "a file or a pattern"),
        ("s3://bucket/a//b.csv", "a file or a pattern"),
        ("s3://bucket/a/", "a file or a pattern"),
        ("s3://bucket/**", "a file or a pattern"),
        ("s3://bucket/a**/b.csv", "a file or a pattern"),
        ("file://host/a.csv", "three slashes"),
        ("file:///srv/../etc/a.csv", "a file or a pattern"),
    ],
)
def test_addresses_that_cannot_be_meant(address: str, said: str) -> None:
    """Another kind, a password, options behind a question mark, no bucket, or a way out of a folder."""
    flaw = flaw_of_address(address)
    assert flaw is not None
    assert said in flaw[0]
    assert flaw[1]
    assert "secret" not in "".join(flaw)


@pytest.mark.parametrize(
    "address",
    [
        "s3://bucket/a.csv", "s3://bucket/**/log-*.parquet", "gs://bucket/x/[ab].csv", "abfs://container@account.dfs.core.windows.net/a.csv",
        "file:///srv/plant/*.csv",
    ],
)  # fmt: skip
def test_addresses_that_can_be_read(address: str) -> None:
    """One bucket and a file in it, or a pattern."""
    assert is_address(address)
    assert flaw_of_address(address) is None


def test_files_of_shared_storage(tmp_path: Path) -> None:
    """A star stands for anything within a name, two for folders; each file has its size, and is opened as it is."""
    for name in ("a-1.csv", "a-2.csv", "b.csv", "in/a-3.csv", "in/deeper/a-4.csv", "a-x/no.txt"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(name, encoding="utf-8")
    start = f"file://{tmp_path}/"

    def named(pattern: str) -> list[str]:
        return [name.removeprefix(start) for name in files_at(start + pattern)]

    assert named("a-*.csv") == ["a-1.csv", "a-2.csv"]
    assert named("a-[!1].csv") == ["a-2.csv"]
    assert named("a-[12].csv") == ["a-1.csv", "a-2.csv"]
    assert named("**/a-*.csv") == ["a-1.csv", "a-2.csv", "in/a-3.csv", "in/deeper/a-4.csv"]
    assert named("in/*/a-4.csv") == ["in/deeper/a-4.csv"]
    assert named("b.csv") == ["b.csv"]
    assert named("c.csv") == named("missing/*.csv") == []
    assert files_at(start + "in/*.csv")[start + "in/a-3.csv"].bytes == len("in/a-3.csv")
    place = place_of(tmp_path, start + "in/a-3.csv")
    assert isinstance(place, Address)
    assert (place.suffix, str(place)) == (".csv", start + "in/a-3.csv")
    with place.open() as stream:
        assert stream.read(2) == b"in"
        assert stream.seek(3) == 3
        assert stream.readline() == b"a-3.csv"
    assert place_of(tmp_path, "b.csv") == tmp_path / "b.csv"


def test_a_file_that_is_gone(tmp_path: Path) -> None:
    """It is named."""
    gone = f"file://{tmp_path}/gone.csv"
    with pytest.raises(AddressError, match=f"{gone} cannot be read"):
        Address(gone).open()


@pytest.fixture(scope="module")
def made_store() -> Iterator[ObjectStore]:
    """Return an object store."""
    with object_store() as store:
        yield store


@pytest.fixture
def store(made_store: ObjectStore, monkeypatch: pytest.MonkeyPatch) -> ObjectStore:
    """Return an object store that this process may read, as its environment says."""
    for name, value in made_store.environment.items():
        monkeypatch.setenv(name, value)
    return made_store


def test_files_of_an_object_store(store: ObjectStore) -> None:
    """They are listed with their sizes and read from any place."""
    one, two = store.put("north/log 1.csv", b"abc\ndef\n"), store.put("north/2026/log.csv", b"x" * 300_000)
    assert {name: state.bytes for name, state in files_at(f"s3://{BUCKET}/north/**/*.csv").items()} == {two: 300_000, one: 8}
    assert list(files_at(f"s3://{BUCKET}/north/*.csv")) == [one]
    assert list(files_at(one)) == [one]
    assert files_at(f"s3://{BUCKET}/south/*.csv") == {}
    with Address(one).open() as stream:
        assert list(stream) == [b"abc\n", b"def\n"]
    with Address(two).open() as stream:
        assert len(stream.read()) == 300_000


def test_a_bucket_that_is_not_there(store: ObjectStore) -> None:
    """It is said with the address; a single file that is not in a bucket is only not found."""
    with pytest.raises(AddressError, match=r"s3://no-such-bucket/\*.csv cannot be read: .*no-such-bucket"):
        files_at("s3://no-such-bucket/*.csv")
    assert files_at(f"s3://{BUCKET}/no.csv") == {}
    with pytest.raises(AddressError, match=r"s3://no-such-bucket/a\.csv cannot be read: there is no no-such-bucket"):
        files_at("s3://no-such-bucket/a.csv")
    assert store.environment["AWS_SECRET_ACCESS_KEY"]


def test_no_secret_of_the_environment_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a store says of a key is said without the key."""
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "very-secret")

    def fail(_pattern: str) -> None:
        message = "bad signature of very-secret\nand more"
        raise OSError(message)

    monkeypatch.setattr("intervals.addresses._system", lambda _kind, _root: type("S", (), {"open_input_file": staticmethod(fail)}))
    with pytest.raises(AddressError) as caught:
        Address("s3://bucket/a.csv").native()
    assert str(caught.value) == "s3://bucket/a.csv cannot be read: bad signature of (AWS_SECRET_ACCESS_KEY)"
