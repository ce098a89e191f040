"""Places of a lake that cannot be, or do not answer: plain words, the right code, no secrets."""

import urllib.request
from uuid import uuid4

import pytest
from lakes import describe, files_of, in_memory

from pipeline.base.errors import ConfigError
from pipeline.care.health import examine
from pipeline.cli.app import run
from pipeline.lake.coverage import lake_of
from pipeline.mill.description import load_mill


@pytest.mark.parametrize(
    ("lake", "said"),
    [
        ("s3://key:hidden-word@bucket/mill", "holds a user name or password"),
        ("s3://hidden-word@bucket/mill", "holds a user name or password"),
        ("s3://bucket/mill?token=hidden-word", "where secrets stand"),
        ("s3://bucket/mill#hidden-word", "where secrets stand"),
        ("sftp://host/mill", "mount it as a folder"),
        ("simplecache::s3://bucket/mill", "not the scheme"),
        ("S3:/bucket", "does not name a bucket"),
        ("s3://", "does not name a bucket"),
        ("s3://bucket/../other", "without .."),
        ("s3://bucket//mill", "without .."),
        ("s3://bucket/%2e%2e/mill", "without .."),
        ("s3://[bucket/mill", "is no URL"),
        ("file://mill/lake", "three slashes"),
        (".", "holds the store"),
        ("", "at least 1 character"),
    ],
)
def test_a_place_that_cannot_be_is_refused_and_no_secret_shown(tmp_path, lake, said, capsys):
    with pytest.raises(ConfigError) as caught:
        describe(tmp_path, lake)
    assert said in str(caught.value)
    assert "hidden-word" not in str(caught.value)
    assert run(["check", str(tmp_path / "mill.toml")]) == 2
    shown = capsys.readouterr()
    assert "hidden-word" not in shown.out + shown.err


def test_a_store_with_a_password_is_refused_and_the_password_not_shown(tmp_path):
    describe(tmp_path)
    text = (tmp_path / "mill.toml").read_text(encoding="utf-8")
    text = text.replace('store = "store"', 'store = "s3://key:hidden-word@bucket"')
    (tmp_path / "mill.toml").write_text(text, encoding="utf-8")
    with pytest.raises(ConfigError, match="is a URL") as caught:
        load_mill(tmp_path / "mill.toml")
    assert "hidden-word" not in str(caught.value)


def test_a_mill_given_another_store_leaves_its_lake_alone(tmp_path):
    mill = describe(tmp_path, in_memory())
    assert mill.with_store(tmp_path / "other").lake_path == tmp_path / "other" / "lake"


def told_by_health(mill):
    return {sign.about: sign for sign in examine(mill)}["Lake"]


def test_a_lake_that_answers_is_well_and_left_as_it_was(tmp_path, bucket):
    for lake in (bucket, in_memory()):
        mill = describe(tmp_path, lake)
        sign = told_by_health(mill)
        assert (sign.state, sign.what) == ("fine", f"can be reached and written: {lake}")
        assert files_of(mill) == {}
    mill = describe(tmp_path, "../nowhere")
    assert told_by_health(mill).state == "look"
    rooms = [sign.what for sign in examine(mill) if sign.about == "Disk"]
    assert [
        what.endswith(str(at)) for what, at in zip(rooms, (mill.store_path, mill.lake), strict=True)
    ]


def test_a_lake_out_of_reach_is_told_in_words_and_ends_with_eight(
    tmp_path, two_exports, s3, monkeypatch, capsys
):
    monkeypatch.setenv("AWS_ENDPOINT_URL", "http://127.0.0.1:1")
    mill = describe(tmp_path, f"s3://{uuid4().hex}/mill")
    assert run(["pull", str(mill.config_path), str(two_exports[0])]) == 8
    said = " ".join(capsys.readouterr().err.split())
    assert "cannot be reached" in said
    assert "Traceback" not in said
    assert "AWS_ENDPOINT_URL" in said
    assert run(["nightly", str(mill.config_path)]) == 8
    assert run(["health", str(mill.config_path)]) == 7
    assert told_by_health(mill).state == "wrong"


def test_an_absent_bucket_and_refused_keys_are_told(tmp_path, two_exports, s3, bucket, capsys):
    absent = describe(tmp_path / "absent", f"s3://{uuid4().hex}/mill")
    assert run(["pull", str(absent.config_path), str(two_exports[0])]) == 8
    assert "no such bucket" in capsys.readouterr().err
    assert "no such bucket" in told_by_health(absent).what
    mill = describe(tmp_path / "refused", bucket)
    with only_known_keys(s3):
        assert run(["pull", str(mill.config_path), str(two_exports[0])]) == 8
    said = " ".join(capsys.readouterr().err.split())
    assert "refuses" in said
    assert "AWS_SECRET_ACCESS_KEY" in said
    assert "its-secret" not in said


class only_known_keys:  # noqa: N801  (reads as a function)
    """Let the server refuse keys that nobody was given."""

    def __init__(self, url):
        self.url = f"{url}/moto-api/reset-auth"

    def ask(self, allowed):
        head = {"Content-Type": "text/plain"}
        request = urllib.request.Request(self.url, allowed.encode(), head, method="POST")
        urllib.request.urlopen(request, timeout=5).close()

    def __enter__(self):
        self.ask("0")

    def __exit__(self, *_):
        self.ask("inf")


def test_a_scheme_without_its_library_says_what_to_install(tmp_path, monkeypatch):
    mill = describe(tmp_path, f"s3://{uuid4().hex}/mill")

    def absent(*_, **__):
        raise ImportError("Install s3fs to access S3")

    monkeypatch.setattr("fsspec.core.url_to_fs", absent)
    with pytest.raises(ConfigError, match=r"\.\[objects\]"):
        lake_of(mill).days()


def test_a_lake_that_may_not_be_written_ends_with_eight(tmp_path, two_exports, capsys):
    (tmp_path / "share").write_text("no folder")
    mill = describe(tmp_path / "mill", "../share/lake")
    assert run(["pull", str(mill.config_path), str(two_exports[0])]) == 8
    assert "mounted" in capsys.readouterr().err
