"""Columns of numbers that go to a browser as text."""

import base64
import json
import zlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from sewermap.web import packing

TYPES = st.sampled_from(list(packing.TYPES))
COLUMNS = TYPES.flatmap(lambda name: arrays.arrays(np.dtype(name), st.integers(0, 40)))


@given(COLUMNS, st.booleans())
def test_packed_columns_come_back_as_they_were(column, stepwise):
    """Any column of any type, told as it is or as differences (whole numbers only), comes back bit by bit."""
    steps = frozenset({"one"}) if stepwise and column.dtype.kind in "iu" else frozenset()
    packed = packing.packed({"none": np.zeros(0, dtype=np.uint16), "one": column, "two": column}, steps)
    back = packing.unpacked(json.loads(json.dumps(packed)))
    assert list(back) == ["none", "one", "two"]
    for name in ("one", "two"):
        assert back[name].dtype == column.dtype
        assert back[name].tobytes() == column.tobytes()


@given(arrays.arrays(np.int32, st.integers(1, 40)))
def test_differences_small_of_either_sign_are_small_numbers(column):
    """A step d is told as 2d, or −2d − 1 where it is negative (zigzag, as in the encoding of Protocol Buffers)."""
    told = packing.differences(column).view(np.uint32).astype(np.int64)
    step = np.diff(column.astype(np.int64), prepend=0)
    step = (step + 2**31) % 2**32 - 2**31  # it wraps where the type ends
    assert np.array_equal(told, np.where(step >= 0, 2 * step, -2 * step - 1))


def test_packed_bytes_are_raw_deflate_in_base64():
    """Python's zlib and base64 alone, which follow RFC 1951 and RFC 4648, read what we wrote."""
    raw = bytes(range(256)) * 40
    assert zlib.decompress(base64.b64decode(packing.packed_bytes(raw), validate=True), -15) == raw


def test_the_lowest_bytes_of_a_column_come_first():
    """A reader in any language finds the planes: low bytes of all rows, then the high ones."""
    packed = packing.packed({"day": np.array([0x0102, 0x0304], dtype=np.uint16)})
    assert packing.unpacked_bytes(packed["bytes"]) == bytes([2, 4, 1, 3])


def test_a_column_of_a_type_that_no_browser_reads_is_refused():
    """64 bits do not fit a JavaScript number."""
    with pytest.raises(KeyError):
        packing.packed({"id": np.zeros(1, dtype=np.int64)})


@pytest.mark.parametrize("text", ["</script><script>alert(1)</script>", "\u2028\u2029", "a\\b\"'", "\u202eright to left", "<!--"])
def test_a_call_holds_no_markup_and_reads_back(text):
    """Hostile text is plain ASCII in the script, without a less-than sign, and the same text when it is read."""
    script = packing.call("sewermap.take", {"title": text})
    assert script.isascii()
    assert "<" not in script
    assert json.loads(script.removeprefix("sewermap.take(").removesuffix(");\n")) == {"title": text}
