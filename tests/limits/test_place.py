"""Where a limit set of one's own lies, and how the record names it."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lungwort.limits.place import is_kept, kept_name, located


def test_a_set_in_the_workspace_is_named_relative_to_it(tmp_path: Path) -> None:
    """The name leads back to the file, also after the workspace was moved."""
    here, there = tmp_path / "here", tmp_path / "there"
    for one in (here, there):
        (one / "limits").mkdir(parents=True)
        (one / "limits" / "yard.toml").write_text("", encoding="utf-8")

    name = kept_name(here / "limits" / "yard.toml", here)

    assert name == "limits/yard.toml"
    assert Path(located(name, here)) == here / "limits" / "yard.toml"
    assert Path(located(name, there)) == there / "limits" / "yard.toml"


@pytest.mark.parametrize(
    "name",
    [
        "en12021-2014-airline",
        "limits/../secrets.toml",
        "limits/sub/yard.toml",
        "limits/.hidden.toml",
        "limits/YARD.toml",
        "limits/yard.txt",
        "limits\\yard.toml",
        "../limits/yard.toml",
        "C:\\sets\\yard.toml",
        "/sets/limits/yard.toml",
        "",
    ],
)
def test_whatever_else_is_left_as_it_is(tmp_path: Path, name: str) -> None:
    """Ids, absolute paths of old records, and what could lead out of the folder."""
    assert not is_kept(name)
    assert located(name, tmp_path) == name
    assert kept_name(name, tmp_path) == name


def test_a_file_elsewhere_keeps_its_absolute_path(tmp_path: Path) -> None:
    """As do files of another workspace, and all where the workspace is not known."""
    other = tmp_path / "other" / "limits" / "yard.toml"

    assert kept_name(other, tmp_path / "here") == str(other)
    assert kept_name(other, None) == str(other)
    assert located("limits/yard.toml", None) == "limits/yard.toml"


@given(st.text(max_size=40))
@settings(deadline=None, max_examples=200)
def test_no_name_leads_out_of_the_folder(text: str) -> None:
    """Whatever stands in the record, what is kept lies right in the folder."""
    folder = Path("/workspace")
    for name in (text, f"limits/{text}.toml", f"limits/{text}"):
        if is_kept(name):
            assert Path(located(name, folder)).parent == folder / "limits"
        else:
            assert located(name, folder) == name
