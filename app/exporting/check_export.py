#!/usr/bin/env python3
"""Does an export of a meet's record say what was recorded, announced and signed?

    python3 -I check.py EXPORT [--head "264 3f2a91bc77d0e1aa"] [--paper KEPT.pdf]
                               [--seal FINGERPRINT]

EXPORT is the folder, or the ZIP, that this file came in. It needs Python 3.9 or later and the
command `openssl` (OpenSSL 3.0 or later), no network and nothing else. It reads nothing outside the
export but what --head and --paper name, and writes nothing but temporary files of its own. It ends
with 0 where everything agrees, 1 where something does not, 2 when it was called wrongly, and 3
where everything agrees that was checked, but something wants explaining or could not be checked.

Whoever doubts an export doubts the checker that came with it too: take this file from somebody you
trust, or write another one. The formats are documented with the program that makes the exports.
"""

from __future__ import annotations

import sys

if __name__ == "__main__" and not sys.flags.isolated:
    # Nothing that lies beside this file may pose as a part of Python: its folder comes first there,
    # under whatever name, unless Python was started without it.
    sys.path[:] = [p for p in sys.path[0 if getattr(sys.flags, "safe_path", False) else 1 :] if p]

import argparse
import base64
import binascii
import csv
import hashlib
import io
import json
import math
import os
import re
import shutil
import stat
import struct
import subprocess
import tempfile
import threading
import time
import unicodedata
import zipfile
import zlib
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cached_property, partial
from typing import IO, Any, Callable, Dict, Iterable, Iterator, List, NamedTuple, Optional, Tuple

KIB, MIB = 1024, 1024 * 1024
MOST_FILES = 100_000
MOST_BYTES = 64 * 1024 * MIB
LARGEST_FILE = 8 * 1024 * MIB
LARGEST_PAPER = 64 * MIB
LARGEST_JSON = 32 * MIB
LARGEST_SHEET = 16 * MIB
LARGEST_NOTE = 64 * KIB
LARGEST_CERTIFICATES = 256 * KIB
LARGEST_SEAL = 256 * KIB
LONGEST_LINE = 16 * MIB
MOST_SEALS_OF_A_PAPER = 32
MOST_FINDINGS = 10_000
MOST_SWELLING = 250
MOST_VALUES = 1_000_000
"""In one JSON document: each takes many times the bytes that it is written with."""
MOST_NESTED = 64
"""How deeply a JSON document is nested, at most: no export nests by more than some ten."""
MOST_SECONDS = 30 * 60
"""What a whole check takes, at most, but for a step that has begun."""
MOST_KEPT = 512 * MIB
"""What is remembered of a record, by a high estimate."""
MOST_SEALS = 100
MOST_ASKED = 8 * 1024 * MIB
OPENSSL_SECONDS = 20
OPENSSL_SECONDS_IN_ALL = 600
LARGE = 4 * MIB
"""A paper from this size on is looked at while no other large one is."""
LARGEST_WHOLE = 2**53 - 1
CLOCK_SLACK = timedelta(seconds=1)

MANIFEST, MANIFEST_NOTE, RECORD, PROOFS = (
    "manifest.json",
    "manifest.note",
    "record.jsonl",
    "proofs.json",
)
SEALS = "certificates/seals.json"
CASE_FILE = "case-file.pdf"
FOLDERS = ("announcements", "certificates", "checkpoints", "facts", "papers", "pictures")
FORM, FORMS_BEFORE = "zone-docket export 3", ("zone-docket export 2", "zone-docket export 1")
"""How the manifest calls this form of exports, and those before. In the second, each report that
the server attests had its statement beside it; the first held no facts besides.
"""
FIT = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,199}(?:/[A-Za-z0-9][A-Za-z0-9._-]{0,199})?")
HEX64 = re.compile(r"[0-9a-f]{64}")
INSTANT = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{6}Z")
ENTRY_FIELDS = {"actor", "at", "commitment", "kind", "meet", "seq", "subject"}
DASH = "\N{EM DASH}"


# What was found -------------------------------------------------------------------------------


class Unfit(Exception):
    """A file, or a part of one, that cannot be read as what it should be; says why."""


@dataclass
class Report:
    """What a check found, each with its place."""

    mismatches: List[str] = field(default_factory=list)
    to_explain: List[str] = field(default_factory=list)
    unchecked: List[str] = field(default_factory=list)
    told: List[str] = field(default_factory=list)
    beyond: int = 0

    def mismatch(self, place: str, words: str) -> None:
        if not add(self.mismatches, f"{shown(place)}: {shown(words)}"):
            self.beyond += 1

    @contextmanager
    def finding(self, place: str) -> Iterator[None]:
        """What is unfit within is a mismatch at this place, and nothing after it is looked at."""
        try:
            yield
        except Unfit as error:
            self.mismatch(place, str(error))

    def explain(self, place: str, words: str) -> None:
        add(self.to_explain, f"{shown(place)}: {shown(words)}")

    def uncheck(self, place: str, words: str) -> None:
        add(self.unchecked, f"{shown(place)}: {shown(words)}")

    def tell(self, words: str) -> None:
        add(self.told, shown(words))

    @property
    def found(self) -> int:
        """How many mismatches, with those that were too many to be told."""
        return len(self.mismatches) + self.beyond

    @property
    def ends_with(self) -> int:
        if self.mismatches:
            return 1
        return 3 if self.to_explain or self.unchecked else 0


def add(findings: List[str], one: str) -> bool:
    """Whether there was room for one more."""
    if len(findings) >= MOST_FINDINGS:
        return False
    findings.append(one)
    return True


def shown(text: object) -> str:
    """Text that an export holds, safe for a terminal: nothing in it can steer one."""
    printed = "".join(c if c.isprintable() else ascii(c)[1:-1] for c in str(text)[:600])
    return printed if len(str(text)) <= 600 else f"{printed}…"


# JSON, and its RFC 8785 form ------------------------------------------------------------------


class HasFraction(Exception):
    """A document holds a number beyond the everyday ones: its form takes the slow way."""


def quick_whole(text: str) -> int:
    if len(text) > 17 or abs(int(text)) > LARGEST_WHOLE:
        raise HasFraction
    return int(text)


def whole(text: str) -> Any:
    """A number without a point; beyond 2^53 - 1 it is a double, as JSON's numbers are."""
    short = len(text) <= 17 and abs(int(text)) <= LARGEST_WHOLE
    return int(text) if short else fraction(text)


def fraction(text: str) -> float:
    if len(text) > 400:
        raise ValueError("a number of more than 400 digits")
    return float(text)


def quick_fraction(text: str) -> float:
    """An everyday fraction: Python writes it just as ECMAScript does."""
    value = float(text) if len(text) < 20 else 0.0
    if not 1e-4 <= abs(value) < 1e15 or f"{value!r}" != text or text.endswith(".0"):
        raise HasFraction
    return value


def no_constant(_text: str) -> float:
    raise ValueError("no number")


class GivenTwice(ValueError):
    """An object has a name twice: readers take either."""


def once(pairs: List[Tuple[str, Any]]) -> Dict[str, Any]:
    read = dict(pairs)
    if len(read) != len(pairs):
        raise GivenTwice("a name that is given twice in one object")
    return read


QUICK = json.JSONDecoder(
    parse_int=quick_whole, parse_float=quick_fraction, parse_constant=no_constant
).raw_decode
PLAIN = json.JSONDecoder(
    parse_int=whole, parse_float=fraction, parse_constant=no_constant, object_pairs_hook=once
).raw_decode
SLOW = json.JSONDecoder(
    parse_int=whole, parse_float=fraction, parse_constant=no_constant, object_pairs_hook=once
)
WRITTEN = json.JSONEncoder(ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode


def insist_few_values(text: str) -> None:
    """Unfit for a text that would fill the memory once it is read as JSON."""
    if len(text) > MOST_VALUES and sum(text.count(mark) for mark in ",[{") > MOST_VALUES:
        raise Unfit(f"this holds more than {MOST_VALUES} values; it was not read")


def insist_shallow(document: Any) -> None:
    """Unfit for a document that is nested too deeply for what is done with it afterwards."""
    level = [document]
    for _ in range(MOST_NESTED):
        held = (one.values() if isinstance(one, dict) else one for one in level if holds(one))
        level = [inner for one in held for inner in one]
        if not level:
            return
    raise Unfit("this is nested too deeply")


def holds(value: Any) -> bool:
    return isinstance(value, (dict, list))


def may_be_deep(text: str) -> bool:
    return text.count("[") + text.count("{") > MOST_NESTED


def read_json(text: str) -> Any:
    """A document; Unfit for what is none, is nested too deeply, or holds too much."""
    insist_few_values(text)
    try:
        document = SLOW.decode(text)
    except (ValueError, RecursionError) as error:
        raise Unfit("this is no JSON that can be read") from error
    insist_shallow(document)
    return document


def read_canonical(text: str) -> Any:
    """A document that stands in its RFC 8785 form; Unfit for any other."""
    insist_few_values(text)
    try:
        # Sorted by code point is sorted as RFC 8785 asks for, unless a name has letters beyond the
        # first 65,536. A name that is given twice is written once, and so differs.
        if text.isascii() or max(text) <= "\uffff":
            quick, end = QUICK(text)
            if may_be_deep(text):
                insist_shallow(quick)
            if end == len(text) and WRITTEN(quick) == text:
                return quick
            raise Unfit("this is not in its canonical form (RFC 8785)")
    except HasFraction:
        pass
    except (ValueError, RecursionError) as error:
        raise Unfit("this is no JSON that can be read") from error
    document = read_json(text)
    if canonical(document) != text:
        raise Unfit("this is not in its canonical form (RFC 8785)")
    return document


def canonical(value: Any) -> str:
    """The RFC 8785 form of what was read as JSON."""
    written: List[str] = []
    try:
        write_form(value, written)
    except RecursionError as error:
        raise Unfit("this is nested too deeply") from error
    return "".join(written)


def write_form(value: Any, written: List[str]) -> None:
    """Append the pieces of a form: handed up through each level, they would cost far more."""
    if isinstance(value, dict):
        names = sorted(value, key=lambda name: name.encode("utf-16-be", "surrogatepass"))
        for at, name in enumerate(names):
            written.append(f"{',' if at else '{'}{WRITTEN(name)}:")
            write_form(value[name], written)
        written.append("}" if names else "{}")
    elif isinstance(value, list):
        written.append("[")
        for at, inner in enumerate(value):
            written.append("," if at else "")
            write_form(inner, written)
        written.append("]")
    else:
        written.append(as_ecmascript(value) if isinstance(value, float) else WRITTEN(value))


def as_ecmascript(value: float) -> str:
    """A number as ECMAScript writes it (RFC 8785, 3.2.2.3): the shortest digits, in its own way."""
    if not math.isfinite(value):
        raise Unfit("a number that JSON cannot carry")
    if value == 0:
        return "0"
    sign = "-" if value < 0 else ""
    digits, _, exponent = f"{abs(value)!r}".partition("e")
    before, _, after = digits.partition(".")
    after = "" if after == "0" else after
    bare = (before + after).lstrip("0")
    point = len(before) + int(exponent or 0) - (len(before + after) - len(bare))
    bare = bare.rstrip("0")
    return sign + placed(bare, point)


def placed(digits: str, point: int) -> str:
    """Digits with the decimal point after `point` of them."""
    count = len(digits)
    if count <= point <= 21:
        return digits + "0" * (point - count)
    if 0 < point <= 21:
        return f"{digits[:point]}.{digits[point:]}"
    if -6 < point <= 0:
        return f"0.{'0' * -point}{digits}"
    tail = f".{digits[1:]}" if count > 1 else ""
    return f"{digits[0]}{tail}e{'+' if point > 0 else '-'}{abs(point - 1)}"


def sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def utf8(data: bytes) -> str:
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise Unfit("this is not UTF-8") from error


# The files ------------------------------------------------------------------------------------

BROKEN = (
    OSError,
    ValueError,
    RuntimeError,
    EOFError,
    NotImplementedError,  # zipfile's own, for a way of packing that it does not know
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
)


class Folder:
    """An export that is a folder. Links are not followed, and nothing but files is opened."""

    def __init__(self, path: str) -> None:
        self.root = os.path.realpath(path)

    def files(self, report: Report) -> Dict[str, int]:
        """Every file that may be read, with its size; what else lies there is reported."""
        found: Dict[str, int] = {}
        self._walk("", found, report)
        return found

    def _walk(self, folder: str, found: Dict[str, int], report: Report) -> None:
        try:
            self._walk_through(folder, found, report)
        except OSError as error:
            words = f"this folder cannot be read ({type(error).__name__})"
            report.uncheck(folder or "the export", words)

    def _walk_through(self, folder: str, found: Dict[str, int], report: Report) -> None:
        with os.scandir(os.path.join(self.root, folder)) as entries:
            for entry in entries:
                if len(found) + len(report.mismatches) > MOST_FILES:
                    report.mismatch(folder or "the export", f"more than {MOST_FILES} files")
                    return
                self._take(f"{folder}/{entry.name}" if folder else entry.name, entry, found, report)

    def _take(
        self, name: str, entry: os.DirEntry[str], found: Dict[str, int], report: Report
    ) -> None:
        if entry.is_symlink():
            report.mismatch(name, "this is a link; it was not followed")
        elif entry.is_dir(follow_symlinks=False):
            if name in FOLDERS:
                self._walk(name, found, report)
            else:
                report.mismatch(name, "this folder does not belong here; it was not opened")
        elif not entry.is_file(follow_symlinks=False):
            report.mismatch(name, "this is neither a file nor a folder; it was not opened")
        else:
            found[name] = entry.stat(follow_symlinks=False).st_size

    @contextmanager
    def open(self, name: str) -> Iterator[IO[bytes]]:
        flags = os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
        opened = os.open(os.path.join(self.root, name), flags)
        with os.fdopen(opened, "rb") as file:
            if not stat.S_ISREG(os.fstat(opened).st_mode):
                raise Unfit("this is no file")
            yield file


class Archive:
    """An export that is one ZIP. Nothing of it is unpacked to the disk."""

    def __init__(self, path: str) -> None:
        self.path, self.size = path, os.path.getsize(path)
        with open(path, "rb") as file:
            self.end = insist_on_few_files(file, self.size)
        self.zip = zipfile.ZipFile(path)
        self.members: List[zipfile.ZipInfo] = []
        self.known: Dict[str, zipfile.ZipInfo] = {}

    def files(self, report: Report) -> Dict[str, int]:
        """Every file that may be read, with its size; what else is in it is reported."""
        self.members = list(self._members_within(report))
        self._look_for_more(report)
        end = self.size
        for info in reversed(self.members):
            name = info.orig_filename
            wrong = unfit_member(info, end)
            end = min(end, info.header_offset)
            if name in self.known:
                report.mismatch(name, "this name is in the ZIP twice")
            elif wrong:
                report.mismatch(name, wrong)
            elif not is_folder(info):
                self.known[name] = info
        return {name: info.file_size for name, info in self.known.items()}

    def _members_within(self, report: Report) -> Iterator[zipfile.ZipInfo]:
        """The members that begin inside of the ZIP, as they lie in it."""
        for info in sorted(self.zip.infolist(), key=lambda one: one.header_offset):
            if 0 <= info.header_offset <= self.size - 30:
                yield info
            else:
                report.mismatch(info.orig_filename, "this lies outside of the ZIP; it was not read")

    def _look_for_more(self, report: Report) -> None:
        """Every byte of the ZIP belongs to a file of it, to its table or to its end: whatever else
        it holds, no manifest binds and no check sees.
        """
        if self.size > self.end:
            report.mismatch("the ZIP", f"{self.size - self.end} bytes follow its end")
        position, allowed = 0, NO_MORE
        with open(self.path, "rb") as file:
            for info in self.members:
                name = info.orig_filename
                gap = bytes_of_no_file(file, position, info.header_offset, allowed)
                if gap:
                    report.mismatch(name, f"{gap} bytes before it are of no file")
                head = read_head(info, file)
                if info.comment or any(has_more_beside(one) for one in (head.beside, info.extra)):
                    report.mismatch(name, "its heads in the ZIP hold something else")
                elif info.volume or not says_the_same(head, info):
                    report.mismatch(name, "its head in the ZIP says something else than the table")
                position = max(position, head.end)
                allowed = descriptors(info) if info.flag_bits & 8 else NO_MORE
            gap = bytes_of_no_file(file, position, self.zip.start_dir, allowed)
            if gap:
                report.mismatch("the ZIP", f"{gap} bytes before its table are of no file")
            if not is_end(file, self.end, self.zip.start_dir, len(self.zip.infolist())):
                report.mismatch("the ZIP", "its end says something else than what lies before it")

    @contextmanager
    def open(self, name: str) -> Iterator[IO[bytes]]:
        with self.zip.open(self.known[name]) as file:
            yield file


MOST_BESIDE = 100
"""The bytes of further fields that packers write beside a file: its times, its owner's number."""
NO_MORE: frozenset[bytes] = frozenset()
LONGEST_DESCRIPTOR = 24


BESIDE = frozenset({0x0001, 0x000A, 0x5455, 0x7875})
"""Sizes beyond 4 GiB, times, times again, and the owner's number. Others are not harmless: by one
of them (0x7075) some programs unpack a file under another name than the one that was checked.
"""


class MemberHead(NamedTuple):
    """What stands before a member's content, and where that ends."""

    flags: int
    method: int
    crc: int
    packed: int
    size: int
    name: bytes
    beside: bytes
    end: int


def read_head(info: zipfile.ZipInfo, file: IO[bytes]) -> MemberHead:
    """The head before a member's content. Its sizes may stand in a further field of their own."""
    file.seek(info.header_offset)
    told = struct.unpack("<4s5H3L2H", file.read(30).ljust(30, b"\0"))
    name, beside = file.read(told[9]), file.read(told[10])
    size, packed = told[8], told[7]
    if size == packed == 0xFFFFFFFF:
        size, packed = wide_sizes(beside)
    end = info.header_offset + 30 + told[9] + told[10] + info.compress_size
    return MemberHead(told[2], told[3], told[6], packed, size, name, beside, end)


def wide_sizes(beside: bytes) -> Tuple[int, int]:
    """The sizes in the further field for those beyond 4 GiB; none at all where there is none."""
    at = 0
    while at + 4 <= len(beside):
        ident, length = struct.unpack("<HH", beside[at : at + 4])
        if ident == 1 and length == 16 and at + 20 <= len(beside):
            return struct.unpack("<QQ", beside[at + 4 : at + 20])
        at += 4 + length
    return (-1, -1)


def says_the_same(head: MemberHead, info: zipfile.ZipInfo) -> bool:
    """Whether the head before a member's content says of it what the table of the ZIP does: some
    programs unpack by the one, others by the other.
    """
    follow = (0,) if info.flag_bits & 8 else ()  # each may follow the content instead
    summed = (
        head.crc in (info.CRC, *follow)
        and head.packed in (info.compress_size, *follow)
        and head.size in (info.file_size, *follow)
    )
    coding = "utf-8" if info.flag_bits & 0x800 else "cp437"
    named = head.name.decode(coding, "replace") == info.orig_filename
    packed = (head.flags, head.method) == (info.flag_bits, info.compress_type)
    return summed and named and packed


def descriptors(info: zipfile.ZipInfo) -> frozenset[bytes]:
    """What may follow a member's content that was packed without knowing its size."""
    wide = struct.pack("<LQQ", info.CRC, info.compress_size, info.file_size)
    forms = [wide]
    if max(info.compress_size, info.file_size) <= 0xFFFFFFFF:
        forms.append(struct.pack("<LLL", info.CRC, info.compress_size, info.file_size))
    return frozenset(mark + form for mark in (b"", b"PK\x07\x08") for form in forms)


def bytes_of_no_file(file: IO[bytes], start: int, end: int, allowed: frozenset[bytes]) -> int:
    """How many bytes lie between, unless they are what may."""
    if end <= start:
        return 0
    file.seek(start)
    there = file.read(min(end - start, LONGEST_DESCRIPTOR + 1))
    return 0 if there in allowed else end - start


def is_end(file: IO[bytes], end: int, table: int, files: int) -> bool:
    """Whether a ZIP's end says where its table lies and how many files are in that, as it is: some
    programs read so many and no more.
    """
    file.seek(max(0, end - 98))
    tail = file.read(min(98, end))
    narrow, wide = tail[-22:], tail[:-22]
    is_wide = len(wide) == 76 and wide[:4] == b"PK\x06\x06" and wide[56:60] == b"PK\x06\x07"
    begins = end - 22 - (76 if is_wide else 0)
    if end_of_table(file, table, files) != begins:
        return False
    true = (0, 0, files, files, begins - table, table)
    said = struct.unpack("<4x4H2LH", narrow)
    if not is_wide:
        return said == (*true, 0)
    unsaid = (0xFFFF,) * 4 + (0xFFFFFFFF,) * 2
    fits = all(one in (is_so, none) for one, is_so, none in zip(said, true, unsaid))
    length, *told = struct.unpack("<4xQ2x2x2L4Q", wide[:56])
    located = struct.unpack("<4xLQL", wide[56:])
    return fits and said[6] == 0 and (length, *told) == (44, *true) and located == (0, begins, 1)


def end_of_table(file: IO[bytes], table: int, files: int) -> int:
    """Where a ZIP's table ends by what its rows say of their own lengths: of the last one, some
    programs read as far as it says and not as far as the table reaches.
    """
    for _ in range(files):
        file.seek(table + 28)
        table += 46 + sum(struct.unpack("<3H", file.read(6)))
    return table


def has_more_beside(extra: bytes) -> bool:
    """Whether the further fields of a member are others, or more, than packers write."""
    at = 0
    while at + 4 <= len(extra):
        ident, length = struct.unpack("<HH", extra[at : at + 4])
        if ident not in BESIDE:
            return True
        at += 4 + length
    return at != len(extra) or at > MOST_BESIDE


def is_folder(info: zipfile.ZipInfo) -> bool:
    """Whether a member is just one of the folders of an export."""
    name = info.orig_filename
    return name[-1:] == "/" and name[:-1] in FOLDERS and not info.file_size + info.compress_size


def unfit_member(info: zipfile.ZipInfo, end: int) -> str:
    """Why a member of a ZIP is not read; empty where it is."""
    kind = stat.S_IFMT(info.external_attr >> 16)
    if info.flag_bits & 1:
        return "this is encrypted; it was not read"
    if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        return "this is packed in a way that no export uses; it was not read"
    if kind not in (0, stat.S_IFREG) and not info.is_dir():
        return "this is a link or a device; it was not read"
    if info.header_offset + 30 + info.compress_size > end:
        return "this lies in the same bytes as another file; it was not read"
    if info.file_size > max(16 * MIB, MOST_SWELLING * info.compress_size):
        return "this would swell far beyond what it is packed in; it was not read"
    return ""


def insist_on_few_files(file: IO[bytes], size: int) -> int:
    """Unfit for a ZIP whose table of files would fill the memory; else where the ZIP ends."""
    start = max(0, size - 66_000)
    file.seek(start)
    tail = file.read()
    at = tail.rfind(b"PK\x05\x06")
    if at < 0 or len(tail) < at + 22:
        raise Unfit("this is no ZIP")
    table, end = struct.unpack("<L", tail[at + 12 : at + 16])[0], at
    wide = tail[max(0, at - 76) : at]
    if wide[:4] == b"PK\x06\x06" and wide[56:60] == b"PK\x06\x07":
        table, end = struct.unpack("<Q", wide[40:48])[0], at - 76
    if table > MOST_FILES * 300:
        raise Unfit(f"more than {MOST_FILES} files")
    file.seek(max(0, start + end - table))
    insist_on_few_rows(file.read(table))
    return start + at + 22


def insist_on_few_rows(table: bytes) -> None:
    at = files = 0
    while table[at : at + 4] == b"PK\x01\x02" and at + 34 <= len(table):
        files += 1
        if files > MOST_FILES:
            raise Unfit(f"more than {MOST_FILES} files")
        at += 46 + sum(struct.unpack("<HHH", table[at + 28 : at + 34]))


@dataclass
class Export:
    """The files of an export that may be read, and how they are read."""

    source: Any
    report: Report
    sizes: Dict[str, int] = field(default_factory=dict)

    def take_in(self) -> None:
        """Find the files; whatever has an unfit name, or one like another's, is left unread."""
        alike: Dict[str, str] = {}
        for name, size in sorted(self.source.files(self.report).items()):
            first = alike.setdefault(name.casefold(), name)
            if FIT.fullmatch(name) is None:
                self.report.mismatch(name, "no file of an export is called so; it was not read")
            elif first != name:
                self.report.mismatch(name, f"on many machines this is the same name as {first}")
            elif size > LARGEST_FILE:
                self.report.mismatch(name, "this is too large; it was not read")
            elif len(self.sizes) >= MOST_FILES:
                self.report.mismatch(name, f"more than {MOST_FILES} files; it was not read")
            else:
                self.sizes[name] = size

    def read(self, name: str, most: int) -> bytes:
        """A whole file; Unfit where it is missing, broken or larger than `most`."""
        if name not in self.sizes:
            raise Unfit("this file is missing")
        if self.sizes[name] > most:
            raise Unfit(f"this is larger than {most} bytes; it was not read")
        with self.opened(name) as file:
            data = b"".join(parts(file, most + 1))
        if len(data) > most:
            raise Unfit(f"this is larger than {most} bytes; it was not read")
        return data

    def digest(self, name: str, most: int) -> Tuple[int, str]:
        """How long a file is and its SHA-256, of its first `most` bytes."""
        hashed, size = hashlib.sha256(), 0
        with self.opened(name) as file:
            for part in parts(file, most):
                hashed.update(part)
                size += len(part)
        return size, hashed.hexdigest()

    @contextmanager
    def opened(self, name: str) -> Iterator[IO[bytes]]:
        try:
            with self.source.open(name) as file:
                yield file
        except BROKEN as error:
            raise Unfit("this cannot be read") from error

    def within(self, folder: str) -> List[str]:
        return sorted(name for name in self.sizes if name.startswith(f"{folder}/"))


def parts(file: IO[bytes], most: int) -> Iterator[bytes]:
    while most > 0:
        part = file.read(min(most, MIB))
        if not part:
            return
        most -= len(part)
        yield part


# openssl --------------------------------------------------------------------------------------


class NotChecked(Exception):
    """Something could not be checked here; says why."""


class Patience:
    """One clock for a whole check: what is made to take hours is not checked to its end."""

    def __init__(self) -> None:
        self._since = time.monotonic()

    @property
    def is_over(self) -> bool:
        return time.monotonic() - self._since > MOST_SECONDS


OUT_OF_TIME = "a check ends after half an hour, and this was not looked at any more"


class OpenSSL:
    """The command `openssl`, asked one question at a time in a folder that is thrown away."""

    def __init__(self) -> None:
        self.command = find_command("openssl")
        self._given = 0
        self._since: Optional[float] = None

    @cached_property
    def missing(self) -> str:
        """Why nothing can be asked here; empty where it can."""
        if self.command is None:
            return "there is no command openssl here"
        version = self._version()
        if re.match(r"OpenSSL ([3-9]|[1-9][0-9])\.", version) is None:
            return f"it takes OpenSSL 3.0 or later, this is {version or 'silent'}"
        return ""

    def _version(self) -> str:
        try:
            return self._run(["version"], ".")[1].decode("ascii", "replace").strip()[:80]
        except Unfit:
            return ""

    def ask(self, arguments: List[str], files: Dict[str, Any], answer: str = "") -> bytes:
        """What it wrote to the file `answer`; Unfit where it refused or hung, NotChecked where
        there is none, or it has had enough to do. The files' contents are bytes, or pieces of some.
        """
        if self.missing:
            raise NotChecked(self.missing)
        self._insist_on_measure(sum(len(part) for one in files.values() for part in pieces(one)))
        with tempfile.TemporaryDirectory(prefix="check-") as folder:
            for name, content in files.items():
                with open(os.path.join(folder, name), "wb") as file:
                    file.writelines(pieces(content))
            code, _ = self._run(arguments, folder)
            if code:
                raise Unfit("openssl refuses it")
            return read_answer(os.path.join(folder, answer)) if answer else b""

    def _insist_on_measure(self, size: int) -> None:
        """No export keeps a machine busy for hours: where seals lie upon seals, each over all that
        was before, openssl is given the same bytes many times.
        """
        now = time.monotonic()
        self._since = now if self._since is None else self._since
        self._given += size
        if self._given > MOST_ASKED or now - self._since > OPENSSL_SECONDS_IN_ALL:
            raise NotChecked("there is more for openssl to look at than any export has")

    def _run(self, arguments: List[str], folder: str) -> Tuple[int, bytes]:
        known = {"PATH": os.defpath, "LC_ALL": "C", "OPENSSL_CONF": os.devnull, "HOME": folder}
        try:
            ended = subprocess.run(
                [str(self.command), *arguments],
                cwd=folder,
                env={**known, "SYSTEMROOT": os.environ.get("SYSTEMROOT", "")},
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                timeout=OPENSSL_SECONDS,
                check=False,
            )
        except subprocess.TimeoutExpired as error:
            raise Unfit(f"openssl gave no answer within {OPENSSL_SECONDS} s") from error
        except OSError as error:
            raise Unfit("openssl could not be run") from error
        return ended.returncode, ended.stdout


def pieces(content: Any) -> Tuple[Any, ...]:
    """The bytes, or the pieces of some, one after another."""
    return content if isinstance(content, tuple) else (content,)


def find_command(name: str) -> Optional[str]:
    """Where a command lies, looked for in folders that are named in full: never in this one."""
    folders = os.environ.get("PATH", os.defpath).split(os.pathsep)
    return shutil.which(name, path=os.pathsep.join(f for f in folders if os.path.isabs(f)))


def read_answer(path: str) -> bytes:
    try:
        with open(path, "rb") as file:
            return file.read(LARGEST_CERTIFICATES)
    except OSError as error:
        raise Unfit("openssl wrote no answer") from error


# Notes ----------------------------------------------------------------------------------------


class VerifierKey(NamedTuple):
    """A public key that signs notes, by its name and its id."""

    name: str
    id: bytes
    public: bytes


class Note(NamedTuple):
    """A signed note's text and the signatures below it: a name, and the id with the signature."""

    text: str
    signatures: List[Tuple[str, bytes]]


class Head(NamedTuple):
    """A head of the record: how many entries, and the root over them (or its first digits)."""

    size: int
    root: str


def read_verifier_key(text: Any) -> VerifierKey:
    """A C2SP verifier key: name, id and base64 of 0x01 and the key, joined by plus signs."""
    name, _, rest = str(text).partition("+")
    ident, _, encoded = rest.partition("+")
    key = from_base64(encoded)
    computed = hashlib.sha256(name.encode("utf-8", "replace") + b"\n" + key).digest()[:4]
    if len(key) != 33 or key[:1] != b"\x01" or ident != computed.hex() or not name:
        raise Unfit("this is no verifier key of Ed25519")
    return VerifierKey(name, computed, key[1:])


def read_note(data: bytes) -> Note:
    """A C2SP signed note: a text, an empty line, and a line for each signature."""
    note = utf8(data)
    text, gap, below = note.rpartition("\n\n")
    lines = below.split("\n")
    if not gap or lines.pop() != "" or not 0 < len(lines) <= 100:
        raise Unfit("this is no signed note")
    if any(letter < " " and letter != "\n" for letter in note):
        raise Unfit("this note holds control characters")
    return Note(f"{text}\n", [read_signature(line) for line in lines])


def read_signature(line: str) -> Tuple[str, bytes]:
    words = line.split(" ")
    if len(words) != 3 or words[0] != DASH or not words[1] or "+" in words[1]:
        raise Unfit("a line below the note is no signature")
    return words[1], from_base64(words[2])


def from_base64(text: str) -> bytes:
    try:
        data = base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError) as error:
        raise Unfit("this is not base64") from error
    if base64.b64encode(data).decode() != text:
        raise Unfit("this base64 is written in another way than it should be")
    return data


def read_checkpoint(text: str) -> Tuple[str, Head]:
    """The origin and the head that a note's text tells (C2SP checkpoint)."""
    lines = text.split("\n")
    if lines.pop() != "" or len(lines) < 3 or "" in lines:
        raise Unfit("this note is no checkpoint")
    root = from_base64(lines[2])
    if re.fullmatch(r"0|[1-9][0-9]{0,15}", lines[1]) is None or len(root) != 32:
        raise Unfit("this checkpoint tells no size, or no root")
    return lines[0], Head(int(lines[1]), root.hex())


SPKI_OF_ED25519 = bytes.fromhex("302a300506032b6570032100")
"""RFC 8410, section 4: what stands before the 32 bytes of an Ed25519 key."""


def insist_signed(note: Note, keys: List[VerifierKey], openssl: OpenSSL) -> None:
    """Unfit unless one of the keys has signed the note, and none is named falsely."""
    known = {(key.name, key.id): key for key in keys}
    believed = False
    for name, signature in note.signatures:
        key = known.get((name, signature[:4]))
        if key is None:
            continue
        insist_ed25519(key, note.text, signature[4:], openssl)
        believed = True
    if not believed:
        raise Unfit("no key that the record names has signed it")


def insist_ed25519(key: VerifierKey, text: str, signature: bytes, openssl: OpenSSL) -> None:
    arguments = ["pkeyutl", "-verify", "-pubin", "-inkey", "key", "-keyform", "DER", "-rawin"]
    files = {"key": SPKI_OF_ED25519 + key.public, "text": text.encode(), "signature": signature}
    try:
        openssl.ask([*arguments, "-in", "text", "-sigfile", "signature"], files)
    except Unfit as error:
        raise Unfit(f"its signature is not that of the key it names ({error})") from error


# The Merkle tree of RFC 9162 ------------------------------------------------------------------


def node_hash(left: bytes, right: bytes) -> bytes:
    return hashlib.sha256(b"\x01" + left + right).digest()


@dataclass
class Tree:
    """A growing tree: the roots of its complete subtrees, largest first, and heads on the way."""

    wanted: frozenset[int]
    size: int = 0
    roots: List[bytes] = field(default_factory=list)
    heads: Dict[int, str] = field(default_factory=dict)

    def grow(self, entry: bytes) -> None:
        hashed, rest = hashlib.sha256(b"\x00" + entry).digest(), self.size
        while rest & 1:
            hashed = node_hash(self.roots.pop(), hashed)
            rest >>= 1
        self.roots.append(hashed)
        self.size += 1
        if self.size in self.wanted:
            self.heads[self.size] = self.root

    @property
    def root(self) -> str:
        if not self.roots:
            return sha256(b"")
        hashed = self.roots[-1]
        for left in reversed(self.roots[:-1]):
            hashed = node_hash(left, hashed)
        return hashed.hex()


def root_by_inclusion(index: int, size: int, leaf: bytes, path: List[bytes]) -> str:
    """RFC 9162, 2.1.3.2: the root that a proof leads to, empty where it cannot be one."""
    node, last, hashed = index, size - 1, leaf
    for step in path:
        if last == 0:
            return ""
        if node & 1 or node == last:
            hashed = node_hash(step, hashed)
            while not node & 1 and node:
                node, last = node >> 1, last >> 1
        else:
            hashed = node_hash(hashed, step)
        node, last = node >> 1, last >> 1
    return hashed.hex() if last == 0 and 0 <= index < size else ""


def extends(earlier: Head, later: Head, path: List[bytes]) -> bool:
    """RFC 9162, 2.1.4.2: whether the later head extends the earlier one, by this proof."""
    if not 0 < earlier.size <= later.size:
        return False
    if earlier.size == later.size:
        return not path and earlier.root == later.root
    steps = list(path)
    if earlier.size & (earlier.size - 1) == 0:
        steps.insert(0, bytes.fromhex(earlier.root))
    if not steps:
        return False
    node, last = earlier.size - 1, later.size - 1
    while node & 1:
        node, last = node >> 1, last >> 1
    old = new = steps[0]
    for step in steps[1:]:
        if last == 0:
            return False
        if node & 1 or node == last:
            old, new = node_hash(step, old), node_hash(step, new)
            while not node & 1 and node:
                node, last = node >> 1, last >> 1
        else:
            new = node_hash(new, step)
        node, last = node >> 1, last >> 1
    return (old.hex(), new.hex(), last) == (earlier.root, later.root, 0)


# The record -----------------------------------------------------------------------------------


class Entry(NamedTuple):
    """An entry of the record, with its body where that was not erased."""

    seq: int
    kind: str
    subject: str
    actor: str
    at: str
    body: Dict[str, Any]
    part: str = ""

    @property
    def place(self) -> str:
        return f"{RECORD}, entry {self.seq}{self.part}"


KEPT = ("seal made", "paper sealed", "picture added", "announcement", "key registered", "vote cast")
KEPT_KINDS = frozenset({*KEPT, "erased", "record restored"})


@dataclass
class Record:
    """What the check of the files needs to know of the record."""

    meet: str = ""
    tree: Tree = field(default_factory=lambda: Tree(frozenset()))
    entries: int = 0
    leaves: Dict[int, bytes] = field(default_factory=dict)
    kept: Dict[str, List[Entry]] = field(default_factory=dict)
    part: bool = False
    withheld: set[int] = field(default_factory=set)
    """The entries of a part whose bodies were left out of it, since they tell of all teams."""
    acts: List[Entry] = field(default_factory=list)
    bodiless: List[Tuple[int, str, str]] = field(default_factory=list)
    revocations: List[Tuple[Entry, Dict[str, Any]]] = field(default_factory=list)
    head: Optional[Head] = None
    last_seq: int = 0
    latest: str = ""
    """The latest time so far, since the clock went back: small steps back add up."""
    times: Dict[int, str] = field(default_factory=dict)
    """When the last entry of each head that is asked for was made."""
    cut: bool = False
    """Whether not all is remembered that the check of the files takes."""
    _gone: Dict[str, Dict[str, int]] = field(default_factory=dict)

    def of(self, kind: str) -> List[Entry]:
        return self.kept.get(kind, [])

    def bodies_gone(self, kind: str) -> Dict[str, int]:
        """Of a kind, the entries whose bodies are missing: what each is about, and its number; of
        several about the same, the first.
        """
        if kind not in self._gone:
            first = self._gone.setdefault(kind, {})
            for seq, gone, subject in self.bodiless:
                if gone == kind:
                    first.setdefault(subject, seq)
        return self._gone[kind]

    def files_gone(self, what: str) -> frozenset[str]:
        """The papers, the pictures or the forms' facts that erasures say were erased."""
        named = (listed(entry.body.get(what)) for entry in self.of("erased"))
        return frozenset(str(one) for some in named for one in some)


def listed(value: Any) -> List[Any]:
    """A list as it stands in a body; empty for anything else."""
    return value if isinstance(value, list) else []


STARTS = ("heat started", "heat held back", "heat not held")
WITHHELD = frozenset({*STARTS, "announcement", "announcement time corrected"})
"""Entries that tell of all teams."""
PLAIN_WORDS = r'"([ !#-\[\]-~]*)"'
EVERYDAY = re.compile(
    rf'\{{"actor":{PLAIN_WORDS},"at":{PLAIN_WORDS},"commitment":{PLAIN_WORDS},"kind":{PLAIN_WORDS},'
    rf'"meet":{PLAIN_WORDS},"seq":(0|[1-9][0-9]{{0,14}}),"subject":{PLAIN_WORDS}\}}'
)
"""An entry whose words are plain ASCII, with nothing escaped: it stands in its canonical form."""


def read_entry(text: str) -> Any:
    """What an entry says; Unfit where it is not in its canonical form."""
    told = EVERYDAY.fullmatch(text)
    if told is None:
        return read_canonical(text)
    actor, at, commitment, kind, meet, seq, subject = told.groups()
    words = {"actor": actor, "at": at, "commitment": commitment, "kind": kind, "meet": meet}
    return {**words, "seq": int(seq), "subject": subject}


class RecordReader:
    """Reads record.jsonl line by line; `part` is an export that holds chosen entries only."""

    def __init__(
        self, report: Report, wanted: frozenset[int], patience: Patience, *, part: bool
    ) -> None:
        self.report, self.part, self.patience = report, part, patience
        self.record = Record(tree=Tree(wanted), part=part)
        self.number = 0
        self.left = MOST_KEPT
        self.before = report.found

    def read(self, file: IO[bytes]) -> None:
        while line := file.readline(LONGEST_LINE + 1):
            self.number += 1
            place = f"{RECORD}, line {self.number}"
            if self.record.head is not None:
                self.report.mismatch(place, "something follows the head")
                return
            if len(line) > LONGEST_LINE:
                self.report.mismatch(place, "this line is too long; reading ended here")
                return
            if not line.endswith(b"\n"):
                self.report.mismatch(place, "this line has no end; something was cut off")
            try:
                self._take_line(place, line)
            except Unfit as error:
                self.report.mismatch(place, str(error))
            if self.patience.is_over:
                self.report.uncheck(f"{RECORD}, from line {self.number + 1} on", OUT_OF_TIME)
                self.record.cut = True
                return
            if self.report.found - self.before > MOST_FINDINGS:
                words = f"more than {MOST_FINDINGS} findings; reading ended at line {self.number}"
                self.report.uncheck(RECORD, words)
                self.record.cut = True
                return
        if self.record.head is None:
            self.report.mismatch(RECORD, "the head on the last line is missing")

    def _remember(self, weight: int) -> bool:
        """Whether there is room for something more to be remembered."""
        self.left -= weight
        if self.left < 0 and not self.record.cut:
            self.record.cut = True
            words = f"from line {self.number} on there is more to remember than any record has"
            self.report.uncheck(RECORD, f"{words}: of that only the hashes were looked at")
        return not self.record.cut

    def _take_line(self, place: str, line: bytes) -> None:
        text = utf8(line.rstrip(b"\n"))
        insist_few_values(text)
        try:
            document, end = PLAIN(text)
        except GivenTwice as error:
            raise Unfit(str(error)) from error
        except (ValueError, RecursionError) as error:
            raise Unfit("this is no line of a record") from error
        if end != len(text):
            raise Unfit("this is no line of a record")
        insist_shallow(document)
        names = set(document) if isinstance(document, dict) else set()
        if names == {"head"}:
            self.record.head = self._head(document["head"])
        elif names == {"entry", "salt", "body"} and isinstance(document["entry"], str):
            self._take_entry(place, document["entry"], document["salt"], document["body"])
        elif self.part and names == {"entry", "withheld"} and isinstance(document["entry"], str):
            self._take_withheld(place, document["entry"], document["withheld"])
        else:
            raise Unfit("this is neither an entry nor a head")

    def _head(self, document: Any) -> Head:
        if not isinstance(document, dict) or set(document) != {"meet", "size", "root"}:
            raise Unfit("this head cannot be read")
        if document["meet"] != self.record.meet and self.record.meet:
            self.report.mismatch("the head", "it belongs to another meet")
        return head_in(document)

    def _take_entry(self, place: str, text: str, salt: Any, body: Any) -> None:
        place, facts = self._take_facts(place, text)
        self._look_at_body(place, facts, salt, body)

    def _take_withheld(self, place: str, text: str, says: Any) -> None:
        """An entry whose body tells of all teams: a part about one holds it without. Of what the
        part says in its place, the entry proves nothing.
        """
        place, facts = self._take_facts(place, text)
        if facts["kind"] not in WITHHELD or not isinstance(says, dict):
            raise Unfit("its body is missing, and is not one that a part may leave out")
        self.record.withheld.add(facts["seq"])
        proved = f"Proved: that “{facts['kind']}” was entered at {facts['at']} by {facts['actor']}"
        told = ", ".join(f"{name.replace('_', ' ')} {says[name]}" for name in sorted(says))
        unproved = f" The export says, unproved: {told}." if told else ""
        self.report.tell(f"{proved}.{unproved}")

    def _take_facts(self, place: str, text: str) -> Tuple[str, Dict[str, Any]]:
        record, data = self.record, text.encode("utf-8", "surrogatepass")
        record.entries += 1
        if not self.part:
            record.tree.grow(data)
        facts = read_entry(text)
        seq = facts.get("seq") if isinstance(facts, dict) else None
        if not isinstance(seq, int) or set(facts) != ENTRY_FIELDS or isinstance(seq, bool):
            raise Unfit("this entry has not the fields that an entry has")
        place = f"{place} (entry {seq})"
        if self.part and self._remember(WEIGHT_OF_A_LEAF):
            record.leaves[seq] = hashlib.sha256(b"\x00" + data).digest()
        self._look_at_order(place, facts)
        return place, facts

    def _look_at_order(self, place: str, facts: Dict[str, Any]) -> None:
        record, seq, at = self.record, facts["seq"], str(facts["at"])
        record.meet = record.meet or str(facts["meet"])
        if facts["meet"] != record.meet:
            self.report.mismatch(place, "this entry belongs to another meet's record")
        expected = record.last_seq + 1
        if seq != expected and not (self.part and seq > record.last_seq):
            words = f"entry {expected} was expected here; one was removed, added or moved"
            self.report.mismatch(place, words)
        if INSTANT.fullmatch(at) is None:
            self.report.mismatch(place, "its time is not written as a record's times are")
        elif at < record.latest and went_back(record.latest, at):
            words = f"the clock went back, from {record.latest} to {at}, when this was entered"
            self.report.explain(place, words)
            record.latest = at
        record.last_seq, record.latest = seq, max(record.latest, at)
        if seq in record.tree.wanted:
            record.times[seq] = at

    def _look_at_body(self, place: str, facts: Dict[str, Any], salt: Any, body: Any) -> None:
        if salt is None and body is None:
            gone = (facts["seq"], str(facts["kind"]), str(facts["subject"]))
            if self._remember(weight_of("".join(gone[1:]))):
                self.record.bodiless.append(gone)
            return
        try:
            committed = sha256(bytes.fromhex(salt) + body.encode())
        except (TypeError, ValueError, AttributeError) as error:
            raise Unfit("what was done cannot be read, or has no salt") from error
        if committed != facts["commitment"] or len(salt) != 64:
            self.report.mismatch(place, "what was done does not match the entry's commitment")
        document = read_canonical(body)
        if not isinstance(document, dict):
            raise Unfit("what was done is no object")
        self._keep(facts, document, body)

    def _keep(self, facts: Dict[str, Any], body: Dict[str, Any], text: str) -> None:
        kind = str(facts["kind"])
        stated = "statement" in body and "statement_sha256" in body
        signed = kind in SIGNED or "signature" in body or stated
        revokes = [body] if kind == "key revoked" else listed(body.get("keys_revoked"))
        if kind not in KEPT_KINDS and not signed and not revokes:
            return
        if not self._remember(weight_of(text)):
            return
        about = (str(facts["subject"]), str(facts["actor"]), str(facts["at"]))
        entry = Entry(facts["seq"], kind, *about, body)
        self.record.revocations += [(entry, one) for one in revokes if isinstance(one, dict)]
        if kind in KEPT_KINDS:
            self.record.kept.setdefault(kind, []).append(entry)
        if signed:
            self.record.acts.append(entry)


WEIGHT_OF_A_LEAF = 200


def weight_of(text: str) -> int:
    """About how many bytes a document takes once it is read: rather too many than too few."""
    letters = len(text) if text.isascii() else 4 * len(text)
    objects = 240 * (text.count("{") + text.count("["))
    return 500 + letters + objects + 130 * text.count(",")


def head_in(document: Any) -> Head:
    """A head that stands in a document; Unfit where it is malformed."""
    size, root = document.get("size"), document.get("root")
    is_size = isinstance(size, int) and not isinstance(size, bool) and size >= 0
    if not is_size or not isinstance(root, str) or HEX64.fullmatch(root) is None:
        raise Unfit("this head cannot be read")
    return Head(size, root)


def went_back(earlier: str, later: str) -> bool:
    """Whether a clock went back by more than servers' clocks differ among each other."""
    try:
        first, second = (datetime.strptime(at, "%Y-%m-%dT%H:%M:%S.%fZ") for at in (earlier, later))
    except ValueError:
        return True
    return first - second > CLOCK_SLACK


def time_of(note: Note) -> str:
    """When a head says that it was signed; empty where it does not say it once."""
    lines = note.text.split("\n")[3:]
    told = [line.partition(" ")[2] for line in lines if line.startswith("time ")]
    return told[0] if len(told) == 1 else ""


def look_at_time(place: str, note: Note, entered: str, report: Report) -> None:
    """A head is signed after its last entry was made. By how much, nobody can say: other entries
    may come between the reading of a head and its signing.
    """
    told = time_of(note)
    if not told:
        raise Unfit("it does not say once when it was signed")
    if INSTANT.fullmatch(entered) and as_instant(entered) - as_instant(told) > CLOCK_SLACK:
        words = f"signed at {told}, and its last entry was made at {entered} only"
        report.explain(place, words)


def look_at_erasures(record: Record, report: Report) -> None:
    """A body that is missing must be named by a later entry that says it was erased."""
    erased: Dict[int, Entry] = {}
    for entry in record.of("erased"):
        named = entry.body.get("entries")
        if not isinstance(named, list) or not all(type(seq) is int for seq in named):
            report.mismatch(entry.place, "this erasure does not say which entries it was about")
            continue
        erased.update((seq, entry) for seq in named if seq < entry.seq)
        if not all(is_text(entry.body.get(name)) for name in ("because", "by")):
            words = "it is not said who asked for this erasure, and what for"
            report.mismatch(entry.place, words)
    gone = {seq for seq, _, _ in record.bodiless}
    for seq in sorted(gone - erased.keys()):
        report.mismatch(f"{RECORD}, entry {seq}", "its body is missing, and no entry erased it")
    for seq in sorted(erased.keys() - gone - record.withheld):
        if seq in record.leaves if record.part else 0 < seq <= record.entries:
            words = f"entry {erased[seq].seq} says that its body was erased, and it is still here"
            report.explain(f"{RECORD}, entry {seq}", words)


def is_text(value: Any) -> bool:
    return isinstance(value, str) and value.strip() != ""


def tell_erasures(export: Export, record: Record) -> None:
    """What went with each erasure, and that acts and files of it cannot be checked any more."""
    kinds = {seq: kind for seq, kind, _ in record.bodiless}
    missing = files_missing(export, record)
    for entry in record.of("erased"):
        named = [seq for seq in listed(entry.body.get("entries")) if type(seq) is int]
        gone = Counter(kinds[seq] for seq in {*named} & kinds.keys())
        files = list(files_that_went(entry, missing))
        what = [f"{count} of “{kind}”" for kind, count in sorted(gone.items())] + files
        told = f"Erased on {entry.at}: {counted(len(named), *BODIES)}"
        who = f"by {entry.body.get('by')}, for {entry.body.get('because')}"
        export.report.tell(f"{told}, {who}{': ' if what else ''}{', '.join(what)}.")
        acts = [f"{gone[kind]} of “{kind}”" for kind in sorted(gone) if kind in STATEMENTS]
        if acts or files:
            words = "what went with this erasure cannot be checked any more"
            export.report.uncheck(entry.place, f"{words}: {', '.join([*acts, *files])}")


def files_missing(export: Export, record: Record) -> Dict[str, frozenset[str]]:
    """The papers, pictures and forms' facts that the record speaks of and that are not here."""
    there = export.sizes
    papers, pictures = record.of("paper sealed"), (*picture_files(record).items(),)
    facts, of_name = signed_facts(record), papers_by_name(record)
    names = [(one, paper_name(one.body)) for one in papers]
    return {
        "papers": frozenset(
            one.subject for one, name in names if name not in there or of_name[name] is not one
        ),
        "pictures": frozenset(of.subject for name, (of, _) in pictures if name not in there),
        "forms": frozenset(one.ident for one in facts if one.name not in there),
    }


def files_that_went(entry: Entry, missing: Dict[str, frozenset[str]]) -> Iterator[str]:
    for what, one, many in FILES:
        named = {str(ident) for ident in listed(entry.body.get(what))}
        if named & missing[what]:
            yield counted(len(named & missing[what]), one, many)


BODIES = ("entry's body", "entries' bodies")
FILES = (
    ("papers", "sealed paper", "sealed papers"),
    ("pictures", "picture", "pictures"),
    ("forms", "form's facts", "forms' facts"),
)


def counted(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"


def look_at_restorings(record: Record, report: Report) -> None:
    """Where a record was restored from a copy, it says so: heads of the time between are lost."""
    for entry in record.of("record restored"):
        try:
            size, restored_at = read_restoring(entry)
        except Unfit as error:
            report.mismatch(entry.place, str(error))
            continue
        copied_at = entry.body.get("copied_at")
        made = f", made at {copied_at}" if copied_at else ""
        told = f"from a copy of {size} entries{made}, as entry {entry.seq} says"
        report.tell(f"The record was restored at {restored_at} {told}.")


def read_restoring(entry: Entry) -> Tuple[int, str]:
    """How many entries were restored, and when."""
    size, restored_at = entry.body.get("size"), str(entry.body.get("restored_at"))
    if type(size) is not int or size != entry.seq - 1 or size < 1:
        raise Unfit("it does not say that all entries before it, and no others, were restored")
    as_instant(restored_at)
    return size, restored_at


def restored_before(record: Record, size: int, signed: str = "") -> str:
    """Why a head of this size may not stand in the record without anybody having rewritten it; it
    does not say so of a head that was signed after the restoring.
    """
    why = ""
    for entry in record.of("record restored"):
        try:
            copied, restored_at = read_restoring(entry)
            later = signed and as_instant(signed) > as_instant(restored_at)
        except Unfit:
            continue
        if copied < size and not later:
            why += (
                f"; the record was restored at {restored_at} from a copy of {copied} entries: "
                "what was printed between does not stand in it"
            )
    return why


# The seals ------------------------------------------------------------------------------------


class Seal(NamedTuple):
    """A seal of the meet: its certificates and its record's key, as an entry names them."""

    number: Any
    fingerprint: str
    certificates: str
    key: Optional[VerifierKey]
    verifier_key: str
    seq: int = 0
    at: str = ""
    because: str = ""

    @property
    def in_words(self) -> str:
        """Which one it is, since when, and what for."""
        why = f", because: {self.because}" if self.because else ""
        return f"seal {self.number}, made at {self.at} in entry {self.seq}{why}"


def take_seals(record: Record, report: Report) -> List[Seal]:
    """The seals that the record names; what does not fit in itself is reported."""
    seals: List[Seal] = []
    for entry in record.of("seal made"):
        if len(seals) >= MOST_SEALS:
            report.mismatch(entry.place, f"more than {MOST_SEALS} seals; it was not looked at")
            break
        try:
            seals.append(read_seal(entry, record.meet))
        except Unfit as error:
            report.mismatch(entry.place, f"this seal cannot be read: {error}")
    for seal in seals[1:]:
        report.tell(f"Another seal came: {seal.in_words}.")
    return seals


def read_seal(entry: Entry, meet: str) -> Seal:
    body = entry.body
    pem, fingerprint = body.get("certificates"), body.get("fingerprint")
    if not isinstance(pem, str) or not isinstance(fingerprint, str):
        raise Unfit("its certificates are missing")
    if len(pem) > LARGEST_CERTIFICATES:
        raise Unfit("its certificates are too large")
    if sha256(first_certificate(pem)) != fingerprint:
        raise Unfit("its fingerprint is not that of its certificate")
    key = read_verifier_key(body.get("verifier_key"))
    if key.name != f"zone-docket/{meet}":
        raise Unfit("its key signs for another meet")
    told = (entry.seq, entry.at, str(body.get("because") or ""))
    return Seal(body.get("number"), fingerprint, pem, key, str(body.get("verifier_key")), *told)


def first_certificate(pem: str) -> bytes:
    """The DER of the first certificate in PEM (RFC 7468)."""
    begin, end = "-----BEGIN CERTIFICATE-----", "-----END CERTIFICATE-----"
    _, gap, rest = pem.partition(begin)
    inside, end_gap, _ = rest.partition(end)
    if not gap or not end_gap:
        raise Unfit("there is no certificate in it")
    return from_base64("".join(inside.split()))


def look_at_certificates(export: Export, seals: List[Seal]) -> None:
    """The files of the certificates say what the record says."""
    report = export.report
    expected = {f"certificates/seal-{seal.number}.pem": seal.certificates for seal in seals}
    for name in sorted({*expected, *export.within("certificates")} - {SEALS}):
        with report.finding(name):
            if name not in expected:
                raise Unfit("the record names no such seal")
            if export.read(name, LARGEST_CERTIFICATES) != expected[name].encode():
                raise Unfit("this certificate is not the one that the record names")
    if seals or SEALS in export.sizes:
        look_at_list_of_seals(export, seals)


def look_at_list_of_seals(export: Export, seals: List[Seal]) -> None:
    expected = [
        {
            "certificates": f"certificates/seal-{seal.number}.pem",
            "fingerprint": seal.fingerprint,
            "number": seal.number,
            "verifier_key": seal.verifier_key,
        }
        for seal in seals
    ]
    with export.report.finding(SEALS):
        if read_canonical(utf8(export.read(SEALS, LARGEST_JSON))) != expected:
            raise Unfit("this list is not that of the seals that the record names")


# The papers -----------------------------------------------------------------------------------

BYTE_RANGE = re.compile(
    rb"/ByteRange\s{0,40}\[\s{0,40}([0-9]{1,12})\s{1,40}([0-9]{1,12})\s{1,40}([0-9]{1,12})\s{1,40}"
    rb"([0-9]{1,12})\s{0,40}\]"
)
TIME_STAMP = bytes.fromhex("060b2a864886f70d0109100104")
"""The DER of the object id of a time-stamp's content (RFC 3161, 2.4.2)."""


class PaperSeal(NamedTuple):
    """One seal in a PDF: what it is over, and the CMS message in DER.

    The content is pieces of the PDF, so that many seals of a large one do not fill the memory.
    """

    covers: int
    content: Any
    message: bytes

    def digests(self, *names: str) -> Iterator[bytes]:
        """The content's digests of these kinds, one after another."""
        for name in names:
            hashed = hashlib.new(name)
            for piece in pieces(self.content):
                hashed.update(piece)
            yield hashed.digest()


def paper_seals(pdf: bytes) -> List[PaperSeal]:
    """The seals of a PDF, first to last: each over all that was before it, the last over all."""
    found = BYTE_RANGE.findall(pdf)
    if not found:
        raise Unfit("this paper has no seal")
    if len(found) > MOST_SEALS_OF_A_PAPER:
        raise Unfit(f"this paper has more than {MOST_SEALS_OF_A_PAPER} seals")
    if pdf.count(b"/ByteRange") != len(found):
        raise Unfit("a seal's byte range cannot be read")
    read = (paper_seal(pdf, [int(number) for number in one]) for one in found)
    seals = sorted(read, key=lambda seal: seal.covers)
    if len({seal.covers for seal in seals}) != len(seals):
        raise Unfit("two seals of this paper are over the same bytes")
    if seals[-1].covers != len(pdf):
        raise Unfit("the last seal does not cover the whole file")
    return seals


def paper_seal(pdf: bytes, byte_range: List[int]) -> PaperSeal:
    start, length, again, rest = byte_range
    if start != 0 or not 0 < length < again or again + rest > len(pdf):
        raise Unfit("a seal's byte range does not begin at 0, or leaves the file")
    gap = pdf[length:again]
    if len(gap) > LARGEST_SEAL or gap[:1] != b"<" or gap[-1:] != b">":
        raise Unfit("what a seal leaves out is not just the seal")
    if not pdf[max(0, length - 40) : length].rstrip().endswith(b"/Contents"):
        raise Unfit("what a seal leaves out is not its /Contents")
    try:
        message = bytes.fromhex(gap[1:-1].decode("ascii"))
    except ValueError as error:
        raise Unfit("a seal is not written in hex") from error
    covers, view = again + rest, memoryview(pdf)
    return PaperSeal(covers, (view[:length], view[again:covers]), one_der(message))


def one_der(data: bytes) -> bytes:
    """The one DER value at the beginning; behind it nothing but zeros may follow."""
    if len(data) < 4 or data[0] != 0x30 or not 0x80 < data[1] < 0x85:
        raise Unfit("a seal is no CMS message")
    octets = data[1] & 0x7F
    end = 2 + octets + int.from_bytes(data[2 : 2 + octets], "big")
    if end > len(data) or data[end:].strip(b"\0"):
        raise Unfit("a seal is followed by something else, or cut off")
    return data[:end]


def check_paper(pdf: bytes, last: List[Seal], seals: List[Seal], openssl: OpenSSL) -> None:
    """Unfit unless every seal of a paper holds, and the last is one of those that it should be."""
    found = paper_seals(pdf)
    dated = [one for one in found if TIME_STAMP in one.message[:200]]
    for one in dated:
        if not any(digest in one.message for digest in one.digests("sha256", "sha512")):
            raise Unfit("a document's time stamp is over something else")
        insist_stamped(one, openssl)
    signing = [one for one in found if one not in dated]
    if not signing:
        raise Unfit("this paper has a time stamp and no seal")
    for one in signing[:-1]:
        insist_sealed(one, seals, openssl)
    insist_sealed(signing[-1], last, openssl)


def insist_stamped(one: PaperSeal, openssl: OpenSSL) -> None:
    """Unfit unless a time stamp's token is signed by the certificate in it, and what is signed
    names the digest of the content. Whose certificate that is, is left to a PDF reader.
    """
    arguments = ["cms", "-verify", "-binary", "-inform", "DER", "-in", "token", "-noverify"]
    try:
        stamped = openssl.ask([*arguments, "-out", "stamped"], {"token": one.message}, "stamped")
    except Unfit as error:
        raise Unfit(f"the signature of a document's time stamp does not hold: {error}") from error
    if not any(digest in stamped for digest in one.digests("sha256", "sha384", "sha512")):
        raise Unfit("a document's time stamp was signed over something else")


def insist_sealed(one: PaperSeal, by: List[Seal], openssl: OpenSSL) -> None:
    """Unfit unless one of these certificates has sealed the content."""
    arguments = ["cms", "-verify", "-binary", "-inform", "DER", "-in", "message"]
    arguments += ["-content", "content", "-CAfile", "trusted", "-no-CApath", "-partial_chain"]
    arguments += ["-purpose", "any", "-no_check_time", "-signer", "signer", "-out", os.devnull]
    trusted = "\n".join(seal.certificates for seal in by).encode()
    files = {"message": one.message, "content": one.content, "trusted": trusted}
    try:
        signer = openssl.ask(arguments, files, answer="signer").decode("ascii", "replace")
    except Unfit as error:
        raise Unfit(f"its seal over the first {one.covers} bytes does not hold: {error}") from error
    certificate = sha256(first_certificate(signer))
    if signer.count("BEGIN CERTIFICATE") != 1 or certificate not in {s.fingerprint for s in by}:
        raise Unfit("it was sealed with another certificate than the record names")


SHOWN_HEAD, ITS_END = re.compile(rb"stream\r?\n(?=zone-docket/)"), b"endstream"
"""Where a signed head lies in a paper as a file, not packed (ISO 32000-1, 7.3.8 and 7.11.4)."""


def printed_heads(pdf: bytes) -> List[bytes]:
    """The notes of the heads that a paper shows, as they lie in it."""
    found: List[bytes] = []
    for begun in SHOWN_HEAD.finditer(pdf):
        end = pdf.find(ITS_END, begun.end(), begun.end() + LARGEST_NOTE)
        if end < 0 or len(found) == MOST_SEALS_OF_A_PAPER:
            raise Unfit("a head that it shows cannot be read")
        found.append(pdf[begun.end() : end])
    return found


CALLED_A_CASE_FILE = re.compile(
    rb"/Title ?\((?:File of |\\376\\377"
    + b"".join(rb"\\000" + re.escape(bytes([letter])) for letter in b"File of ")
    + rb")"
)
"""How a PDF's title begins (ISO 32000-1, 14.3.3), in one byte a letter or in UTF-16."""


def paper_in_words(entry: Entry) -> str:
    kind, subject, sheet, edition = (
        entry.body.get(name) for name in ("kind", "subject", "sheet", "edition")
    )
    return f"entry {entry.seq}, at {entry.at}: {kind} of {subject}, {sheet}, edition {edition}"


def heads_in_words(count: int) -> str:
    if not count:
        return "it shows no head that can be read here"
    words = counted(count, "head that it shows is one", "heads that it shows are some")
    return f"{words} of this record's"


def paper_name(body: Dict[str, Any]) -> str:
    """How the file of a sealed paper is called."""
    told = "-".join(str(body.get(name, "")) for name in ("kind", "subject", "sheet", "edition"))
    return f"papers/{re.sub(r'[^A-Za-z0-9.-]+', '-', told)}.pdf"


def papers_by_name(record: Record) -> Dict[str, Entry]:
    """Whose file each name is. Where editions began again after an erasure, two papers came to have
    one name: the file is that of the one which was not erased, else of the last one.
    """
    found: Dict[str, Entry] = {}
    erased = record.files_gone("papers")
    for entry in record.of("paper sealed"):
        name = paper_name(entry.body)
        if name not in found or entry.subject not in erased or found[name].subject in erased:
            found[name] = entry
    return found


def look_at_file_names(record: Record, report: Report) -> None:
    """A file is that of one entry: where two call theirs alike, one takes the other's place."""
    first: Dict[str, Entry] = {}
    erased = record.files_gone("papers")
    left = (one for one in record.of("paper sealed") if one.subject not in erased)
    claims = [*((paper_name(one.body), one) for one in left), *picture_claims(record)]
    for name, entry in claims:
        earlier = first.setdefault(name, entry)
        if earlier is not entry:
            words = f"entry {earlier.seq} has a file of the same name, {name}: one of them is false"
            report.mismatch(entry.place, words)


def picture_claims(record: Record) -> Iterator[Tuple[str, Entry]]:
    for entry in record.of("picture added"):
        ending = ENDINGS.get(str(entry.body.get("media_type")), "bin")
        yield f"pictures/{entry.subject}.{ending}", entry
        yield f"pictures/{entry.subject}-shown.jpg", entry


def picture_files(record: Record) -> Dict[str, Tuple[Entry, Any]]:
    """The files of all pictures, each with the entry that added it and its SHA-256."""
    expected: Dict[str, Tuple[Entry, Any]] = {}
    for entry in record.of("picture added"):
        ending = ENDINGS.get(str(entry.body.get("media_type")), "bin")
        subject = f"pictures/{entry.subject}"
        expected[f"{subject}.{ending}"] = (entry, entry.body.get("sha256"))
        expected[f"{subject}-shown.jpg"] = (entry, entry.body.get("shown_sha256"))
    return expected


def look_at_editions(record: Record, report: Report) -> None:
    """Each paper's editions count from 1, without a gap and none twice; once the last of them was
    erased they count on, or, as they did at first, from the one that is left.
    """
    editions: Dict[str, Editions] = {}
    home: Dict[str, Editions] = {}
    # An erasure whose own body was erased is told again by a later one: when it was is not known.
    unseen = record.files_gone("papers") if record.bodies_gone("erased") else frozenset()
    whole = not record.part and not record.bodies_gone("paper sealed")
    both = [*record.of("paper sealed"), *record.of("erased")]
    for entry in sorted(both, key=lambda one: one.seq):
        if entry.kind == "erased":
            for paper in map(str, listed(entry.body.get("papers"))):
                home.get(paper, Editions()).left.pop(paper, None)
            continue
        told = canonical([entry.body.get(name) for name in ("kind", "subject", "sheet")])
        known = home[entry.subject] = editions.setdefault(told, Editions())
        wrong = known.why_not(entry.body.get("edition"), whole=whole)
        if wrong:
            report.mismatch(entry.place, wrong)
        else:
            known.take(entry, erased=entry.subject in unseen)


@dataclass
class Editions:
    """The editions of one paper: those that no erasure took, by id, and the last one of all."""

    left: Dict[str, int] = field(default_factory=dict)
    last: int = 0

    def why_not(self, edition: Any, *, whole: bool) -> str:
        """Why this is not the next edition; empty where it is."""
        highest = next(reversed(self.left.values()), 0)
        if type(edition) is not int or edition < 1:
            return "this paper has no edition that can be counted"
        if edition <= highest or (whole and edition not in (highest + 1, self.last + 1)):
            return f"edition {edition} of this paper was sealed, after edition {highest}"
        return ""

    def take(self, entry: Entry, *, erased: bool) -> None:
        self.last = entry.body["edition"]
        self.left.pop(entry.subject, None)  # the highest edition stands last
        if not erased:
            self.left[entry.subject] = self.last


def look_at_subjects(record: Record, report: Report) -> None:
    """What is made once, under an id or a number of its own, is entered once."""
    for kind, name in ONCE:
        first: Dict[str, int] = {}
        for entry in record.of(kind):
            told = entry.body.get(name) if name else entry.subject
            earlier = first.setdefault(str(told), entry.seq)
            if earlier != entry.seq:
                words = f"entry {earlier} was about the same {name or 'id'}: one of them is false"
                report.mismatch(entry.place, words)


def look_at_decisions(record: Record, report: Report) -> None:
    """A case is ruled on anew under a new id, and so is a protest or an appeal decided: whoever
    enters a second ruling or decision under one id puts it in the place of the first.
    """
    first: Dict[Tuple[bool, str], int] = {}
    for act in record.acts:
        if act.kind not in FORMS:
            continue
        ident = act.subject if act.kind == "ruling" else act.body.get("decision")
        earlier = first.setdefault((act.kind == "ruling", str(ident)), act.seq)
        if earlier != act.seq:
            words = f"entry {earlier} was the same ruling or decision: one of them is false"
            report.mismatch(act.place, words)


ONCE = (
    ("picture added", ""),
    ("announcement", ""),
    ("paper sealed", ""),
    ("key registered", "key"),
    ("seal made", "number"),
    ("seal made", "fingerprint"),
)


class SignedFacts(NamedTuple):
    """The facts of a form whose digest stands in a signed statement: of which ruling or decision,
    and by which entry.
    """

    name: str
    ident: str
    digest: str
    seq: int


def signed_facts(record: Record) -> Iterator[SignedFacts]:
    """The facts of all forms that were signed with an act whose body is there."""
    for act in record.acts:
        kind, statement = FORMS.get(act.kind), act.body.get("statement")
        if kind is None or not isinstance(statement, dict) or "form_sha256" not in statement:
            continue
        ident = str(act.subject if kind == "ruling" else act.body.get("decision"))
        digest = str(statement["form_sha256"])
        yield SignedFacts(f"facts/{kind}-{ident}.json", ident, digest, act.seq)


FORMS = {"ruling": "ruling", "protest decided": "decision", "appeal decided": "decision"}
"""By an entry's kind, what its form is of."""


# Signatures of acts ---------------------------------------------------------------------------


class Key(NamedTuple):
    """A device's key: which entry registered it, what is known of it, and what revoked it;
    `revoked_unseen` is the first entry that did so and whose body was erased, 0 for none.
    """

    seq: int
    facts: Dict[str, Any]
    revocations: List[Tuple[Entry, Dict[str, Any]]]
    revoked_unseen: int = 0


class Keys:
    """All devices' keys of a record. An erasure tells again of a key what a check needs."""

    def __init__(self, record: Record) -> None:
        self._gone = record.bodies_gone("key registered")
        self._unseen = record.bodies_gone("key revoked")
        self._keys = {
            str(one.body.get("key")): Key(one.seq, one.body, [])
            for one in record.of("key registered")
        }
        for entry in record.of("erased"):
            for told in listed(entry.body.get("keys")):
                ident = str(told.get("key")) if isinstance(told, dict) else ""
                if ident in self._gone:
                    self._keys.setdefault(ident, Key(self._gone[ident], told, []))
        for entry, told in record.revocations:
            key = self._keys.get(str(told.get("key")))
            if key is not None:
                key.revocations.append((entry, told))

    def find(self, ident: Any) -> Key:
        """The key of this id; Unfit for one of which nothing tells, or nothing tells any more."""
        key = self._keys.get(str(ident))
        if key is None and str(ident) in self._gone:
            raise Unfit("the key that signed it was erased, and no erasure tells that key again")
        if key is None:
            raise Unfit("it was signed with a key that the record does not name")
        return key._replace(revoked_unseen=self._unseen.get(str(ident), 0))


STATEMENTS: Dict[str, Tuple[str, str]] = {
    "ruling": ("ruling", "ruling"),
    "announcement": ("announcement", "announcement"),
    "protest decided": ("decision", "protest"),
    "appeal decided": ("decision", "appeal"),
    "decision signed": ("decision signature", "decision"),
    "appeal admitted": ("admission", "appeal"),
    "appeal turned away": ("admission", "appeal"),
    "appeal reopened": ("reopening", "appeal"),
    "lots drawn": ("lots", "lots"),
    "meet ended": ("end of the meet", "meet"),
    "announcement time corrected": ("correction", "subject"),
    "protest corrected": ("correction", "subject"),
    "appeal corrected": ("correction", "subject"),
    "end of the meet corrected": ("correction", "subject"),
    "report written": ("report", "report"),
    "ballot": ("vote", "appeal"),
}
"""By an entry's kind: the act that its statement is of, and where that names what it is about."""
SIGNED = frozenset(STATEMENTS) - {"ballot", "report written"}
"""The kinds of which no entry goes unsigned. A ballot is none; a report came, at times, as it was
written, when no telephone could sign."""


@dataclass
class Acts:
    """What a check of a signed act needs to know of the rest of the record."""

    record: Record
    report: Report
    openssl: OpenSSL

    @cached_property
    def keys(self) -> Keys:
        return Keys(self.record)

    @cached_property
    def protests(self) -> Dict[str, Any]:
        """By a decision's id, the protest that it is on."""
        decided = (act for act in self.record.acts if act.kind in DECIDED)
        told = ((act.body.get("decision"), act.body.get("statement")) for act in decided)
        return {str(one): said.get("protest") for one, said in told if isinstance(said, dict)}

    def is_about(self, act: Entry, named: Any) -> bool:
        """Whether what a statement names is what the entry is about.

        When an advice was given is corrected in the protest's entry, and signed as the decision's.
        """
        if named == act.subject or act.kind != "protest corrected":
            return bool(named == act.subject)
        gone = self.record.part or any(self.record.bodies_gone(kind) for kind in DECIDED)
        return bool(self.protests.get(str(named), act.subject if gone else None) == act.subject)


DECIDED = ("protest decided", "appeal decided")


def check_act(act: Entry, known: Acts) -> None:
    """Unfit where a signed act's digest, or the proof of who signed it, does not hold, or where
    what was signed is another act than the one that was entered.
    """
    statement, signature = stated(act, known.record.meet), act.body.get("signature")
    if not isinstance(statement, dict):
        if signature is None:
            raise Unfit("an act of this kind is signed, and what was signed is missing")
        raise Unfit("this act is signed, but what was signed is missing")
    form = canonical(statement).encode()
    if sha256(form) != act.body.get("statement_sha256"):
        raise Unfit("the digest of what was signed is not that of the statement")
    insist_same_act(act, statement, known)
    insist_as_signed(act, statement)
    if "ballots" in act.body:
        insist_counted(act, statement)
    if signature is not None or act.kind in SIGNED:
        insist_signature(act, form, signature, known)


def stated(act: Entry, meet: str) -> Any:
    """The statement of an act, None where there is none. That of a report which came without a
    signature is what its entry says itself; a post knows its take-over, so nobody sent both.
    """
    signature = act.body.get("signature")
    alone = isinstance(signature, dict) and signature.get("strength") == "server"
    if act.kind != "report written" or not alone or "statement" in act.body:
        return act.body.get("statement")
    if not all(name in act.body for name in OF_A_REPORT):
        return None
    said = {name: act.body[name] for name in OF_A_REPORT}
    if said["post"] is not None:
        said["take_over"] = None
    return {**said, "act": "report", "meet": meet, "report": act.subject}


def insist_signature(act: Entry, form: bytes, signature: Any, known: Acts) -> None:
    """Unfit unless who acted has signed, in one of the ways that there are."""
    if signature is None:
        raise Unfit("an act of this kind is signed, and its signature is missing")
    if not isinstance(signature, dict):
        raise Unfit("this signature cannot be read")
    if signature.get("official") != act.actor:
        raise Unfit("it was signed by another official than the one who acted")
    strength = signature.get("strength")
    if strength in ("device key", "phone key"):
        check_proof(act, form, signature, known)
    elif strength not in ("PIN", "server"):
        raise Unfit("this signature is of an unknown strength")


def insist_same_act(act: Entry, statement: Dict[str, Any], known: Acts) -> None:
    """Unfit unless the statement is of this act, about this subject, here, and by who acted."""
    named, about = STATEMENTS.get(act.kind, ("", ""))
    if not named:
        raise Unfit("no entry of this kind is signed")
    if statement.get("act") != named:
        raise Unfit(f"what was signed is no “{named}”: it belongs to another act")
    if not known.is_about(act, statement.get(about)):
        raise Unfit("what was signed is about something else than the entry")
    if statement.get("meet") != known.record.meet:
        raise Unfit("what was signed belongs to another meet")
    # A phone signs the document as it sends it, which does not name its writer.
    if act.kind != "report written" and statement.get("official") != act.actor:
        raise Unfit("what was signed names another official than the one who acted")


def insist_as_signed(act: Entry, statement: Dict[str, Any]) -> None:
    """Unfit where the entry's body says another thing than what was signed, under the same name."""
    if act.kind == "report written":
        insist_as_written(act, statement)
        return
    for name in sorted(statement.keys() & act.body.keys()):
        said = left_open(statement[name], act.body[name], name)
        if canonical(said) != canonical(statement[name]):
            raise Unfit(f"what its entry says as “{name}” is not what was signed")
    sent = statement.get("said")
    if isinstance(sent, dict):
        for name in sorted((sent.keys() & act.body.keys()) - statement.keys()):
            if not is_as_sent(sent[name], act.body[name]):
                raise Unfit(f"what its entry says as “{name}” is not what was sent and signed")


def is_as_sent(sent: Any, kept: Any) -> bool:
    """Whether an entry keeps the words or the number that was sent. An instant may become the one
    that counts; and to what has parts, as lots have, the service may add some.
    """
    both_instants = is_instant(sent) and is_instant(kept)
    return sent is None or holds(sent) or both_instants or canonical(sent) == canonical(kept)


def is_instant(value: Any) -> bool:
    return isinstance(value, str) and RFC_3339.fullmatch(value) is not None


RFC_3339 = re.compile(
    r"(\d{4}-\d{2}-\d{2})[Tt ](\d{2}:\d{2}:\d{2})(?:\.(\d{1,30}))?([Zz]|[+-]\d{2}:\d{2})", re.ASCII
)
OF_A_REPORT = ("clock", "heat", "lane", "observation", "post", "take_over", "words")
"""What an umpire writes; the rest of a report's entry the service has added."""
WHERE_LEFT_OUT: Dict[str, Tuple[Any, ...]] = {
    "forced_out": ("no",),
    "held_by": ("receiver", "unsure"),
    "placed_by_official": ("no",),
    "touched": ("yes",),
}
"""What an answer is where a phone leaves it out; of all others “unsure”, empty or none."""


def insist_as_written(act: Entry, statement: Dict[str, Any]) -> None:
    """Unfit unless a report's entry says what its phone has signed.

    A phone signs the document as it sends it: an id may be written in capitals, an instant in
    another zone, a text with spaces around it; what it leaves out has its everyday answer.
    """
    phone = (act.body.get("signature") or {}).get("strength") == "phone key"
    for name in OF_A_REPORT:
        if name not in act.body or (name == "take_over" and act.body.get("post") is not None):
            continue  # a post knows its take-over
        if name not in statement and not phone:
            continue  # what came with a signature that does not count need not be a report
        if not is_as_written(statement.get(name), act.body[name], name):
            raise Unfit(f"what its entry says as “{name}” is not what was signed")


def is_as_written(signed: Any, kept: Any, name: str) -> bool:
    """Whether a value in a report's entry is the one that was signed."""
    if signed is None:
        return kept in (None, "", "unsure", *WHERE_LEFT_OUT.get(name, ()))
    if isinstance(signed, dict) and isinstance(kept, dict):
        names = signed.keys() | kept.keys()
        return all(is_as_written(signed.get(one), kept.get(one), one) for one in names)
    if is_instant(signed) and is_instant(kept):
        return in_full(signed) == in_full(kept)
    if isinstance(signed, str) and isinstance(kept, str):
        return kept in (tidied(signed), signed.lower())
    return canonical(signed) == canonical(kept)


def in_full(text: str) -> datetime:
    """An instant whose fraction may have any number of digits."""
    told = RFC_3339.fullmatch(text)
    if told is None:
        raise Unfit("a time is not written as it should be")
    day, hour, part, zone = told.groups()
    return as_instant(f"{day}T{hour}.{(part or '')[:6].ljust(6, '0')}{zone}")


def tidied(text: str) -> str:
    """A text as the service keeps it."""
    return unicodedata.normalize("NFC", text.replace("\r\n", "\n").strip())


def with_ballots(record: Record, report: Report) -> Iterator[Entry]:
    """Every signed act; the votes of a sitting stand in the entry of what it decided, each
    signed by its own voter.
    """
    cast = {str(one.body.get("id")): one for one in record.of("vote cast")}
    for act in record.acts:
        yield act
        for number, ballot in enumerate(listed(act.body.get("ballots")), start=1):
            part = f", ballot {number}"
            try:
                yield as_act(act._replace(part=part), ballot, cast, record)
            except Unfit as error:
                report.mismatch(act._replace(part=part).place, str(error))


def as_act(decided: Entry, ballot: Any, cast: Dict[str, Entry], record: Record) -> Entry:
    """A ballot as an act of the voter's own, at the instant when the vote was cast; in a part of a
    record that does not hold that entry, when it was shown.
    """
    statement = ballot.get("statement") if isinstance(ballot, dict) else None
    if not isinstance(statement, dict) or not isinstance(ballot.get("signature"), dict):
        raise Unfit("this ballot is not signed")
    voter = str(ballot["signature"].get("official"))
    vote = decided._replace(kind="ballot", actor=voter, body=ballot)
    entered = cast.get(str(statement.get("ballot")))
    if entered is None:
        if not record.part and not record.bodies_gone("vote cast"):
            raise Unfit("no entry of the record says that this vote was cast")
        return vote._replace(at=str(statement.get("shown_at")))
    told = (entered.subject, entered.body.get("sitting"), entered.actor)
    if told != (decided.subject, statement.get("sitting"), voter) or entered.seq > decided.seq:
        raise Unfit(f"this is not the vote that was cast in entry {entered.seq}")
    return vote._replace(seq=entered.seq, at=entered.at)


def insist_counted(act: Entry, statement: Dict[str, Any]) -> None:
    """Unfit unless every vote that a decision counts is a ballot beside it. Who has left the panel
    since has a ballot that is not counted.
    """
    said = [
        one.get("statement") for one in listed(act.body.get("ballots")) if isinstance(one, dict)
    ]
    cast = {str(one.get("official")): one.get("vote") for one in said if isinstance(one, dict)}
    if len(cast) != len(listed(act.body.get("ballots"))):
        raise Unfit("its ballots are not one of each voter")
    told = statement.get("votes")
    counted = told.get("cast") if isinstance(told, dict) else None
    if not isinstance(told, dict) or not isinstance(counted, dict):
        raise Unfit("it has ballots, and says nothing of votes")
    counts = {vote: list(counted.values()).count(vote) for vote in ("upheld", "rejected")}
    if any(cast.get(voter) != vote for voter, vote in counted.items()):
        raise Unfit("a vote that it counts is not the one on the ballot")
    if any(told.get(vote) != count for vote, count in counts.items()):
        raise Unfit("it counts its votes falsely")


def look_at_repeats(acts: List[Entry], report: Report) -> None:
    """One signature is of one act. A report may come to say again what it said before."""
    first: Dict[str, Entry] = {}
    look_at_reports_again(acts, report)
    for act in acts:
        digest = act.body.get("statement_sha256")
        if act.kind == "report written" or not isinstance(act.body.get("statement"), dict):
            continue
        earlier = first.setdefault(str(digest), act)
        if earlier is not act:
            words = f"what was signed here was signed for entry {earlier.seq}, once"
            report.mismatch(act.place, words)


def look_at_reports_again(acts: List[Entry], report: Report) -> None:
    """A phone that has had no answer sends again what it sent. Where its umpire has written
    something else between, the earlier words would come back without anybody's signing them.
    """
    last: Dict[str, str] = {}
    seen: Dict[Tuple[str, str], int] = {}
    for act in acts:
        if act.kind != "report written" or "statement_sha256" not in act.body:
            continue
        digest = str(act.body.get("statement_sha256"))
        earlier = seen.setdefault((act.subject, digest), act.seq)
        if earlier != act.seq and last[act.subject] != digest:
            words = f"this was signed once, for entry {earlier}, and another was written between"
            report.explain(act.place, words)
        last[act.subject] = digest


def check_proof(act: Entry, form: bytes, signature: Dict[str, Any], known: Acts) -> None:
    """Unfit unless a device's key that was in force has signed the statement."""
    key = known.keys.find(signature.get("key"))
    insist_in_force(act, signature, key, known.report)
    proof, public = signature.get("proof"), key.facts.get("public_key")
    if not isinstance(proof, dict) or not isinstance(public, str):
        raise Unfit("the proof of its signature is missing")
    phone = signature.get("strength") == "phone key"
    if key.facts.get("kind") != ("phone key" if phone else "passkey"):
        raise Unfit("it was signed with a key of another kind")
    signed, made = by_phone(form, proof) if phone else by_passkey(form, proof, key.facts)
    files = {"key": public.encode("utf-8", "replace"), "signed": signed, "signature": made}
    arguments = ["dgst", "-sha256", "-verify", "key", "-signature", "signature", "signed"]
    try:
        known.openssl.ask(arguments, files)
    except Unfit as error:
        raise Unfit(f"its signature does not hold: {error}") from error


def insist_in_force(act: Entry, signature: Dict[str, Any], key: Key, report: Report) -> None:
    """The key is the official's own, was registered before, and was not revoked by then."""
    if key.facts.get("official") != signature.get("official"):
        raise Unfit("it was signed with the key of another official")
    if key.seq >= act.seq:
        raise Unfit("it was signed with a key that was registered only afterwards")
    for revoked, told in key.revocations:
        since = str(told.get("revoked_from"))
        if as_instant(since) > as_instant(act.at):
            continue
        if revoked.seq < act.seq:
            raise Unfit(f"it was signed with a key that was revoked from {since} on")
        words = f"its key was revoked later, from {since} on, which is before this was signed"
        report.explain(act.place, words)
    if 0 < key.revoked_unseen < act.seq:
        raise Unfit(f"it was signed with a key that entry {key.revoked_unseen} had revoked")
    if key.revoked_unseen and not key.revocations:
        words = f"entry {key.revoked_unseen} revoked its key, and from when on was erased"
        report.uncheck(act.place, words)


def as_instant(text: str) -> datetime:
    """An instant in RFC 3339; Unfit for anything else."""
    fitted = re.sub(r"[Zz]$", "+00:00", text)
    try:
        instant = datetime.fromisoformat(fitted)
    except ValueError as error:
        raise Unfit("a time is not written as it should be") from error
    if instant.tzinfo is None:
        raise Unfit("a time has no zone")
    return instant


def by_phone(form: bytes, proof: Dict[str, Any]) -> Tuple[bytes, bytes]:
    """What a phone signed, and its signature as openssl reads it: r and s in DER."""
    pair = from_base64url(proof.get("signature"))
    if len(pair) != 64:
        raise Unfit("a phone's signature has 64 bytes")
    both = der_whole(pair[:32]) + der_whole(pair[32:])
    return form, b"\x30" + bytes([len(both)]) + both


def der_whole(number: bytes) -> bytes:
    bare = number.lstrip(b"\0") or b"\0"
    bare = b"\0" + bare if bare[0] & 0x80 else bare
    return b"\x02" + bytes([len(bare)]) + bare


def by_passkey(form: bytes, proof: Dict[str, Any], key: Dict[str, Any]) -> Tuple[bytes, bytes]:
    """What an authenticator signed (W3C Web Authentication, 7.2), and its signature."""
    data = from_base64url(proof.get("authenticator_data"))
    client = from_base64url(proof.get("client_data_json"))
    told = read_json(utf8(client))
    if not isinstance(told, dict) or told.get("type") != "webauthn.get":
        raise Unfit("its proof was made for something else")
    if from_base64url(told.get("challenge")) != hashlib.sha256(form).digest():
        raise Unfit("its proof is over another statement")
    if len(data) < 37 or data[:32] != hashlib.sha256(str(key.get("rp_id")).encode()).digest():
        raise Unfit("its proof was made for another service")
    if data[32] & 5 != 5:
        raise Unfit("nobody was present and verified when its proof was made")
    if key.get("origin") is not None and told.get("origin") != key["origin"]:
        raise Unfit("its proof was made on a page of another origin than its key")
    return data + hashlib.sha256(client).digest(), from_base64url(proof.get("signature"))


def from_base64url(text: Any) -> bytes:
    if not isinstance(text, str) or re.fullmatch(r"[A-Za-z0-9_-]{0,20000}", text) is None:
        raise Unfit("a proof is not written in base64url")
    try:
        return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
    except (binascii.Error, ValueError) as error:
        raise Unfit("a proof is not written in base64url") from error


# The whole ------------------------------------------------------------------------------------


class Asked(NamedTuple):
    """What the caller brings to hold the export against."""

    heads: Tuple[Tuple[Head, Optional[Note]], ...] = ()
    seals: Tuple[str, ...] = ()
    papers: Tuple[Tuple[str, bytes], ...] = ()


NOTHING_ASKED = Asked()


class Checker:
    """One check of one export."""

    def __init__(self, source: Any, asked: Asked) -> None:
        self.report = Report()
        self.export = Export(source, self.report)
        self.asked = asked
        self.openssl = OpenSSL()
        self.patience = Patience()
        self.one_large = threading.Lock()
        self.record = Record()
        self.seals: List[Seal] = []
        self.proved: Dict[int, str] = {}
        self.manifest: Optional[Dict[str, Any]] = None
        self.manifest_sha256 = ""
        self.jobs: List[Tuple[str, Callable[[], None]]] = []
        self.without_head: List[str] = []
        """The papers that hold no head as a file, as those that were drawn before any did."""
        self.kept_results: Dict[str, Dict[str, int]] = {}
        """By an announcement, the digests of its result that erasures kept, with their entries."""

    @property
    def keys(self) -> List[VerifierKey]:
        return [seal.key for seal in self.seals if seal.key is not None]

    @cached_property
    def pictures_gone(self) -> frozenset[str]:
        return self.record.files_gone("pictures")

    @cached_property
    def known_since(self) -> KnownSince:
        return what_is_known_since(self.record)

    @property
    def is_part(self) -> bool:
        return PROOFS in self.export.sizes

    def run(self) -> Report:
        """Every check, one after another; what openssl has to say comes last."""
        self.export.take_in()
        self._look_at_manifest()
        self._read_record()
        self._look_at_heads()
        if self.record.cut:
            words = "this record is too large, or too broken, for them to be held against it"
            self.report.uncheck("the heads, certificates, files and signatures", words)
        else:
            self._look_at_what_it_speaks_of()
        self._look_at_heads_asked_for()
        self._ask_openssl()
        self._tell()
        return self.report

    def _look_at_what_it_speaks_of(self) -> None:
        look_at_erasures(self.record, self.report)
        tell_erasures(self.export, self.record)
        self.kept_results = results_kept(self.record)
        look_at_subjects(self.record, self.report)
        look_at_decisions(self.record, self.report)
        look_at_file_names(self.record, self.report)
        look_at_restorings(self.record, self.report)
        self.seals = take_seals(self.record, self.report)
        look_at_certificates(self.export, self.seals)
        self._look_at_checkpoints()
        self._look_at_papers()
        self._look_at_heads_of_papers()
        self._look_at_case_file()
        self._look_at_facts()
        self._look_at_pictures()
        self._look_at_announcements()
        self._look_at_acts()
        if self.asked.seals:
            self._look_at_asked_seals()
        for name, pdf in self.asked.papers:
            self._later(f"--paper {name}", partial(self._check_kept_paper, name, pdf))

    # The manifest

    def _look_at_manifest(self) -> None:
        try:
            data = self.export.read(MANIFEST, LARGEST_JSON)
            manifest = read_canonical(utf8(data))
            listed = files_of(manifest)
        except Unfit as error:
            self.report.mismatch(MANIFEST, str(error))
            return
        self.manifest, self.manifest_sha256 = manifest, sha256(data)
        there = set(self.export.sizes) - {MANIFEST, MANIFEST_NOTE}
        for name in sorted(there - listed.keys()):
            self.report.mismatch(name, "the manifest does not name this file")
        left = MOST_BYTES
        for name, (size, digest) in self._in_time(MANIFEST, sorted(listed.items())):
            left -= size
            if left < 0:
                self.report.mismatch(name, "the export is too large; reading ended here")
                return
            self._look_at_file(name, size, digest)

    def _look_at_file(self, name: str, size: int, digest: str) -> None:
        with self.report.finding(name):
            if name not in self.export.sizes:
                raise Unfit("the manifest names this file, and it is missing")
            if self.export.sizes[name] != size:
                raise Unfit("this file has not the size that the manifest says")
            if self.export.digest(name, size + 1) != (size, digest):
                raise Unfit("this file is not the one that the manifest names: another SHA-256")

    def _look_at_manifests_note(self) -> None:
        note = read_note(self.export.read(MANIFEST_NOTE, LARGEST_NOTE))
        expected = f"zone-docket manifest\n{self.record.meet}\n{self.manifest_sha256}\n"
        if note.text != expected:
            raise Unfit("this note is about another manifest")
        insist_signed(note, self.keys, self.openssl)

    # The record

    def _read_record(self) -> None:
        reader = RecordReader(self.report, self._wanted(), self.patience, part=self.is_part)
        self.record = reader.record
        with self.report.finding(RECORD):
            if RECORD not in self.export.sizes:
                raise Unfit("this file is missing")
            with self.export.opened(RECORD) as file:
                reader.read(file)

    def _wanted(self) -> frozenset[int]:
        """The sizes at which the root will be asked for."""
        named = (checkpoint_size(name) for name in self.export.within("checkpoints"))
        return frozenset([*(s for s in named if s), *(head.size for head, _ in self.asked.heads)])

    def _look_at_heads(self) -> None:
        record, head = self.record, self.record.head
        self.proved = dict(record.tree.heads)
        if self.is_part:
            if not record.cut:
                self._look_at_proofs()
        elif head is not None:
            if head.size != record.tree.size:
                words = f"it says {head.size} entries, there are {record.tree.size}"
                self.report.mismatch("the head", words)
            elif head.root != record.tree.root:
                words = f"its root is {head.root}, the entries give {record.tree.root}"
                self.report.mismatch("the head", words)
            self.proved[record.tree.size] = record.tree.root
        self._look_at_manifests_head()

    def _look_at_manifests_head(self) -> None:
        manifest = self.manifest
        if manifest is None or self.record.head is None:
            return
        head = {"meet": self.record.meet, **self.record.head._asdict()}
        if manifest.get("head") != head or manifest.get("meet") != self.record.meet:
            self.report.mismatch(MANIFEST, "its head or its meet is not that of the record")
        if manifest.get("form") not in (FORM, *FORMS_BEFORE):
            words = "this export has a form that this checker does not know: take the one beside it"
            self.report.mismatch(MANIFEST, words)

    def _look_at_proofs(self) -> None:
        try:
            document = read_canonical(utf8(self.export.read(PROOFS, LARGEST_JSON)))
            self._look_at_inclusions(document)
        except Unfit as error:
            self.report.mismatch(PROOFS, str(error))
        except (AttributeError, KeyError, TypeError, ValueError):
            self.report.mismatch(PROOFS, "these proofs cannot be read")

    def _look_at_inclusions(self, document: Dict[str, Any]) -> None:
        head = head_in(document["head"])
        if head != self.record.head:
            self.report.mismatch(PROOFS, "its head is not that of the record")
        self.proved[head.size] = head.root
        paths = {
            one["entry"]: [bytes.fromhex(step) for step in one["path"]]
            for one in document["entries"]
        }
        for seq in sorted({*paths, *self.record.leaves}):
            leaf, path = self.record.leaves.get(seq), paths.get(seq)
            if leaf is None or path is None:
                self.report.mismatch(PROOFS, f"entry {seq} and its proof are not both here")
            elif root_by_inclusion(seq - 1, head.size, leaf, path) != head.root:
                self.report.mismatch(PROOFS, f"entry {seq} is not proved to stand in the head")
        for one in document["heads"]:
            earlier = head_in(one)
            if extends(earlier, head, [bytes.fromhex(step) for step in one["path"]]):
                self.proved[earlier.size] = earlier.root
            else:
                words = f"the head of {earlier.size} entries is not proved to be extended"
                self.report.mismatch(PROOFS, words)

    def _look_at_checkpoints(self) -> None:
        for name in self.export.within("checkpoints"):
            with self.report.finding(name):
                size = checkpoint_size(name)
                note = read_note(self.export.read(name, LARGEST_NOTE))
                head = self._hold_against(note, size)
                look_at_time(name, note, self.record.times.get(head.size, ""), self.report)
                self._later(name, partial(insist_signed, note, self.keys, self.openssl))
        if self.seals and self.record.head is not None:
            name = f"checkpoints/{self.record.head.size}.note"
            if name not in self.export.sizes:
                self.report.mismatch(name, "the head of this export was not signed")
        if self.seals or MANIFEST_NOTE in self.export.sizes:
            if self.manifest is not None:
                self._later(MANIFEST_NOTE, self._look_at_manifests_note)
        else:
            words = "this meet has no seal, so nothing says who made this record and this export"
            self.report.uncheck("the signatures", words)

    def _hold_against(self, note: Note, size: Optional[int] = None) -> Head:
        """Unfit unless a checkpoint's head is one that this record had."""
        origin, head = read_checkpoint(note.text)
        if origin != f"zone-docket/{self.record.meet}":
            raise Unfit("this head is of another meet's record")
        if size is not None and head.size != size:
            raise Unfit("this head is of another size than its name says")
        self._insist_on(head, time_of(note))
        return head

    def _insist_on(self, head: Head, signed: str = "") -> None:
        known = self.proved.get(head.size)
        grown = max([*self.proved, 0])
        why = restored_before(self.record, head.size, signed)
        if head.size > grown:
            words = f"this export is older: it has {grown} entries, that head has {head.size}"
            if why:
                words = f"the record has {grown} entries, that head has {head.size}{why}"
            raise Unfit(words)
        if known is None:
            raise Unfit(f"the export holds no proof about the head of {head.size} entries")
        if not known.startswith(head.root):
            words = f"the root of the first {head.size} entries is {known}, not {head.root}"
            raise Unfit(f"{words}{why}" if why else f"the record was rewritten since: {words}")

    # The files that the record speaks of

    def _look_at_papers(self) -> None:
        look_at_editions(self.record, self.report)
        by_name = papers_by_name(self.record)
        erased = self.record.files_gone("papers")
        for name in sorted({*by_name, *self.export.within("papers")}):
            entry = by_name.get(name)
            if entry is None:
                self.report.mismatch(name, "no entry of the record says that this paper was sealed")
            elif name in self.export.sizes:
                self._later(name, partial(self._check_paper, name, entry))
            elif entry.subject not in erased:
                words = f"entry {entry.seq} sealed this paper, and it is missing"
                self.report.mismatch(name, words)

    def _check_paper(self, name: str, entry: Entry) -> None:
        with self.one_large if self.export.sizes[name] > LARGE else nullcontext():
            pdf = self.export.read(name, LARGEST_PAPER)
            self._check_content(pdf, entry)
            if not self._check_printed_heads(pdf):
                self.without_head.append(name)

    def _check_content(self, pdf: bytes, entry: Entry) -> None:
        if sha256(pdf) != entry.body.get("sha256"):
            raise Unfit(f"this is not the paper that entry {entry.seq} sealed: another SHA-256")
        named = [seal for seal in self.seals if seal.fingerprint == entry.body.get("fingerprint")]
        if not named:
            raise Unfit(f"entry {entry.seq} names a seal that the record does not have")
        check_paper(pdf, named[:1], self.seals, self.openssl)

    def _look_at_heads_of_papers(self) -> None:
        """The head that a paper was sealed with was signed before, so it is among the heads."""
        for entry in self.record.of("paper sealed"):
            size = entry.body.get("head_size")
            if type(size) is int and f"checkpoints/{size}.note" not in self.export.sizes:
                words = f"it was sealed with the head of {size} entries, whose note is missing"
                self.report.mismatch(entry.place, words)

    def _look_at_case_file(self) -> None:
        if CASE_FILE in self.export.sizes:
            self._later(CASE_FILE, self._check_case_file)

    def _check_case_file(self) -> None:
        """What goes along with a part has no entry of its own; its seal is the newest."""
        pdf = self.export.read(CASE_FILE, LARGEST_PAPER)
        if not self.seals:
            raise Unfit("it is sealed, and the record names no seal")
        check_paper(pdf, self.seals[-1:], self.seals, self.openssl)
        self._check_printed_heads(pdf)

    def _check_printed_heads(self, pdf: bytes) -> int:
        """How many heads a paper shows as files; Unfit where the record never had one of them."""
        shown_in_it = printed_heads(pdf)
        for content in shown_in_it:
            note = read_note(content)
            head = self._hold_against(note)
            name = f"checkpoints/{head.size}.note"
            kept = self.export.read(name, LARGEST_NOTE) if name in self.export.sizes else b""
            if kept != content:  # else it is looked at there
                insist_signed(note, self.keys, self.openssl)
            if not kept:
                raise Unfit(f"it shows the head of {head.size} entries, whose note is missing")
        return len(shown_in_it)

    def _look_at_facts(self) -> None:
        """What a form tells is what was signed with the ruling, or the decision."""
        expected: Dict[str, List[SignedFacts]] = {}
        for fact in signed_facts(self.record):
            expected.setdefault(fact.name, []).append(fact)
        for name in sorted({*self.export.within("facts")} - expected.keys()):
            words = "no entry of the record says that these facts were signed"
            self.report.mismatch(name, words)
        if self.manifest is not None and self.manifest.get("form") == FORMS_BEFORE[-1]:
            words = "this export has the form of before, which holds no facts of forms"
            self.report.uncheck("facts", words)
            return
        erased = self.record.files_gone("forms")
        unsaid = max([e.seq for e in self.record.of("erased") if "forms" not in e.body], default=0)
        for name in self._in_time("facts", sorted(expected)):
            if name not in self.export.sizes and expected[name][0].seq < unsaid:
                words = f"missing, and entry {unsaid}, an erasure, does not say which facts went"
                self.report.uncheck(name, words)
                continue
            with self.report.finding(name):
                self._check_facts(name, expected[name], erased)

    def _check_facts(self, name: str, signed: List[SignedFacts], erased: frozenset[str]) -> None:
        if name not in self.export.sizes:
            if signed[0].ident in erased:
                return
            raise Unfit(f"entry {signed[0].seq} signed these facts, and they are missing")
        found = self.export.digest(name, LARGEST_FILE)[1]
        other = [one.seq for one in signed if one.digest != found]
        if other:
            raise Unfit(f"these are not the facts that entry {other[0]} signed: another SHA-256")

    def _look_at_pictures(self) -> None:
        expected = picture_files(self.record)
        pictures = {*expected, *self.export.within("pictures")}
        for name in self._in_time("pictures", sorted(pictures)):
            try:
                self._check_picture(name, expected.get(name))
            except Unfit as error:
                self.report.mismatch(name, str(error))

    def _check_picture(self, name: str, expected: Optional[Tuple[Entry, Any]]) -> None:
        if expected is None:
            raise Unfit("no entry of the record says that this picture was added")
        entry, digest = expected
        if name not in self.export.sizes:
            if entry.subject in self.pictures_gone:
                return
            raise Unfit(f"entry {entry.seq} added this picture, and it is missing")
        if self.export.digest(name, LARGEST_FILE)[1] != digest:
            raise Unfit(f"this is not the picture that entry {entry.seq} added: another SHA-256")

    def _look_at_announcements(self) -> None:
        made = {entry.subject: entry for entry in self.record.of("announcement")}
        erased = self.record.bodies_gone("announcement")
        there = {
            name.split("/")[1].rpartition(".")[0] for name in self.export.within("announcements")
        }
        documents: Dict[str, Dict[str, Any]] = {}
        subjects = {*made, *there, *erased}
        for subject in self._in_time("announcements", sorted(subjects)):
            if subject not in made and subject not in erased:
                words = "no entry of the record says that this was announced"
                self.report.mismatch(f"announcements/{subject}", words)
                continue
            for ending in ("json", "csv", "txt"):
                name = f"announcements/{subject}.{ending}"
                if name not in self.export.sizes:
                    self.report.mismatch(name, "this was announced, and the file is missing")
            document = self._check_announcement(subject, made.get(subject))
            if document is not None:
                self._remember_place(f"announcements/{subject}.json", document, documents)
        if len(documents) == len(subjects) and not self.is_part:
            look_at_which_stands(documents, self.report)
        unkept = erased.keys() - made.keys() - self.kept_results.keys()
        if unkept:
            words = f"of {len(unkept)} nothing was kept when they were erased that they are held by"
            self.report.uncheck("announcements", words)

    def _remember_place(
        self, name: str, document: Dict[str, Any], documents: Dict[str, Dict[str, Any]]
    ) -> None:
        try:
            documents[name] = place_in_heat(document)
        except Unfit as error:
            self.report.mismatch(name, str(error))

    def _check_announcement(self, subject: str, entry: Optional[Entry]) -> Optional[Dict[str, Any]]:
        """The document, where it says what was announced; table and words are held against it."""
        stem = f"announcements/{subject}"
        try:
            document = read_announcement(self.export, f"{stem}.json", subject)
        except Unfit as error:
            self.report.mismatch(f"{stem}.json", str(error))
            return None
        job = partial(insist_kept, document, self.kept_results.get(subject, {}))
        if entry is not None:
            job = partial(insist_announced, document, entry)
        found = outcome(job)
        if found is None and not self.is_part:
            found = outcome(partial(insist_known_since, document, self.known_since))
        if found is not None:
            self.report.mismatch(f"{stem}.json", str(found))
            return None
        for name, insist in ((f"{stem}.csv", insist_table), (f"{stem}.txt", insist_words)):
            if name in self.export.sizes:
                found = outcome(partial(hold_sheet, self.export, name, insist, document))
                if found is not None:
                    self.report.mismatch(name, str(found))
        return document

    def _look_at_acts(self) -> None:
        known = Acts(self.record, self.report, self.openssl)
        acts = list(with_ballots(self.record, self.report))
        look_at_repeats(acts, self.report)
        for act in acts:
            self._later(act.place, partial(check_act, act, known))

    # What the caller brought

    def _look_at_heads_asked_for(self) -> None:
        cut = self.record.cut
        for head, note in self.asked.heads:
            place = f"--head, {head.size} entries"
            if cut and (self.is_part or self.record.head is None):
                self.report.uncheck(place, "the record was not read so far")
                continue
            with self.report.finding(place):
                self._insist_on(head, time_of(note) if note is not None else "")
                self.report.tell(
                    f"This record extends the head of {head.size} entries, {head.root}."
                )
                if note is not None:
                    self._hold_against(note)
                if note is not None and not cut:
                    self._later(place, partial(insist_signed, note, self.keys, self.openssl))

    def _check_kept_paper(self, name: str, pdf: bytes) -> None:
        """Unfit unless the heads that a paper shows are this record's, and it was sealed here."""
        heads = self._check_printed_heads(pdf)
        entry = self._entry_of(pdf)
        if entry is not None:
            self._check_content(pdf, entry)
            self.report.tell(
                f"{name} was sealed in {paper_in_words(entry)}; {heads_in_words(heads)}."
            )
        elif self._goes_along(pdf):
            self.report.tell(f"{name} is the case file of this export.")
        elif CALLED_A_CASE_FILE.search(pdf):
            self._check_kept_case_file(pdf, heads)
        else:
            self._tell_that_no_entry_sealed_it()

    def _entry_of(self, pdf: bytes) -> Optional[Entry]:
        """The entry that sealed a paper; None where there is none."""
        digest = sha256(pdf)
        sealed = self.record.of("paper sealed")
        return next((entry for entry in sealed if entry.body.get("sha256") == digest), None)

    def _goes_along(self, pdf: bytes) -> bool:
        there = CASE_FILE in self.export.sizes
        return there and self.export.digest(CASE_FILE, len(pdf) + 1)[1] == sha256(pdf)

    def _check_kept_case_file(self, pdf: bytes, heads: int) -> None:
        """NotChecked where all that a case file can be held against agrees; Unfit else."""
        if not heads:
            raise Unfit("a case file shows a head of the record, and this one shows none")
        check_paper(pdf, self.seals, self.seals, self.openssl)
        words = "a case file has no entry; its seal and its head agree, and what it says is held"
        raise NotChecked(f"{words} against nothing but the part that it came with")

    def _tell_that_no_entry_sealed_it(self) -> None:
        if self.record.part:
            raise NotChecked("this is a part of a record, and holds no entry of this paper")
        why = restored_before(self.record, LARGEST_WHOLE)
        raise Unfit(f"no entry of the record says that this paper was sealed{why}")

    def _look_at_asked_seals(self) -> None:
        asked = set(self.asked.seals)
        prints = {seal.fingerprint: seal for seal in self.seals}
        keys = {seal.verifier_key: seal for seal in self.seals}
        for one in sorted(asked - prints.keys() - keys.keys()):
            self.report.mismatch("--seal", f"the record names no seal {one}")
        for found, kind in ((prints, "certificate"), (keys, "key")):
            mine = {one for one in asked if ("+" in one) == (kind == "key")}
            for other in sorted(found.keys() - mine) if mine else ():
                words = f"the record also names a {kind} {other}, of {found[other].in_words}"
                self.report.mismatch("--seal", words)

    # What takes openssl

    def _later(self, place: str, job: Callable[[], None]) -> None:
        self.jobs.append((place, partial(self._do_in_time, job)))

    def _do_in_time(self, job: Callable[[], None]) -> None:
        if self.patience.is_over:
            raise NotChecked(OUT_OF_TIME)
        job()

    def _in_time(self, what: str, all_of_it: Iterable[Any]) -> Iterator[Any]:
        """One after another, while there is time: the rest is said not to be checked."""
        for one in all_of_it:
            if self.patience.is_over:
                self.report.uncheck(what, OUT_OF_TIME)
                return
            yield one

    def _ask_openssl(self) -> None:
        with ThreadPoolExecutor(max_workers=min(8, 2 * (os.cpu_count() or 1))) as pool:
            for place, found in outcomes(self.jobs, pool):
                if isinstance(found, NotChecked):
                    self.report.uncheck(place, str(found))
                elif found is not None:
                    self.report.mismatch(place, str(found))

    def _tell(self) -> None:
        record, part = self.record, ""
        what = [
            counted(record.entries, "entry", "entries"),
            counted(len(record.of("paper sealed")), "sealed paper", "sealed papers"),
            counted(len(self.seals), "seal", "seals"),
            counted(len(self.export.within("checkpoints")), "signed head", "signed heads"),
            counted(len(record.acts), "signed act", "signed acts"),
        ]
        if self.is_part and record.head:
            part = f", chosen from a record of {record.head.size}"
        erased = counted(len(record.bodiless), "body was erased", "bodies were erased")
        self.report.tell(f"Looked at {', '.join(what)}{part}; {erased}.")
        if self.without_head:
            some = counted(len(self.without_head), "paper shows", "papers show")
            words = f"{some} no head that can be read here: what is printed, --head takes"
            self.report.tell(f"{words}.")


NOT_IN_THE_FILE = ("act", "announcement", "meet", "official", "shown_at")
"""What a statement says under another name than the file, or beside what is announced."""
ONLY_IN_THE_FILE = ("announced_by", "id", "statement_digest")
KNOWN_LATER = (
    "appeals_void",
    "does_not_count",
    "earlier_windows",
    "final_since",
    "meet_ended_at",
    "pending",
    "qualifiers_superseded_by",
    "signed_with",
    "superseded_by",
    "time_corrections",
)
"""What a file tells that became known since, or is told of its signature. Its own entry does not
say it: `signed_with`, `time_corrections` and `meet_ended_at` are held against others, and which one
stands against the other files; the rest follows from entries that no file of an export gathers.
"""


def read_announcement(export: Export, name: str, subject: str) -> Dict[str, Any]:
    document = read_json(utf8(export.read(name, LARGEST_SHEET)))
    if not isinstance(document, dict):
        raise Unfit("this is no announcement")
    if document.get("id") != subject:
        raise Unfit("this is another announcement than its name says")
    return document


def insist_announced(document: Dict[str, Any], entry: Entry) -> None:
    """Unfit unless a file says all that was announced, and nothing else but what came later."""
    announced = what_was_announced(entry.body)
    for said in sorted(announced.keys() & document.keys()):
        if canonical(document[said]) != canonical(announced[said]):
            raise Unfit(f"what it says as “{said}” is not what entry {entry.seq} announced")
    if document.get("announced_by") != entry.actor:
        raise Unfit("it names another official than the one who announced it")
    for left_out in sorted(announced.keys() - document.keys() - {*NOT_IN_THE_FILE}):
        raise Unfit(f"it leaves out “{left_out}”, which entry {entry.seq} announced")
    insist_strength(document, entry)
    if document.get("statement_digest") != entry.body.get("statement_sha256"):
        raise Unfit("its digest is not that of what was signed")
    further = document.keys() - announced.keys() - {*ONLY_IN_THE_FILE, *KNOWN_LATER}
    for name in sorted(further):
        if document[name]:  # what a later program can say, it leaves empty of an earlier result
            raise Unfit(f"nobody announced what it says as “{name}”")


def insist_strength(document: Dict[str, Any], entry: Entry) -> None:
    """Unfit where a file says that it was signed with a passkey, and it was with a PIN, or the
    other way round.
    """
    signature, told = entry.body.get("signature"), document.get("signed_with")
    if not isinstance(signature, dict) or told is None:
        return
    if str(told).startswith("passkey") != (signature.get("strength") == "device key"):
        raise Unfit(f"it says of its signature another thing than entry {entry.seq}")


class KnownSince(NamedTuple):
    """What became known of announcements since, by entries of their own."""

    corrections: Dict[str, List[Optional[Entry]]]
    """By an announcement, those of its time; None for one whose body was erased."""
    ends: List[Optional[Entry]]
    """Where the meet ended, and each correction of that."""


def what_is_known_since(record: Record) -> KnownSince:
    gone = [(seq, kind, subject, None) for seq, kind, subject in record.bodiless]
    there = [(act.seq, act.kind, act.subject, act) for act in record.acts]
    known = KnownSince({}, [])
    for _, kind, subject, act in sorted([*gone, *there], key=lambda one: one[0]):
        if kind == "announcement time corrected":
            known.corrections.setdefault(subject, []).append(act)
        elif kind in ("meet ended", "end of the meet corrected"):
            known.ends.append(act)
    return known


def insist_known_since(document: Dict[str, Any], known: KnownSince) -> None:
    """Unfit unless a file tells of the corrections of its time, and of the end of the meet, what
    their entries do.
    """
    told = document.get("time_corrections")
    entered = known.corrections.get(str(document.get("id")), [])
    if len(listed(told)) != len(entered):
        tells = counted(len(listed(told)), "correction of its time", "corrections of its time")
        raise Unfit(f"it tells of {tells}, the record has {len(entered)}")
    for one, entry in zip(listed(told), entered):
        if entry is not None:
            insist_corrected(one, entry)
        insist_same_zone(document, one)
    if document.get("windows"):
        insist_end(document, known.ends)


def insist_corrected(told: Dict[str, Any], entry: Entry) -> None:
    said = entry.body
    for name in ("was", "becomes"):
        if in_full(told[name]) != in_full(said[name]):
            raise Unfit(f"the correction of its time is not that of entry {entry.seq}: “{name}”")
    words = {"id": said.get("correction"), "corrected_by": entry.actor}
    words |= {"reasons": said.get("reasons"), "remark": said.get("remark", "")}
    for name, value in words.items():
        if told.get(name) != value:
            raise Unfit(f"the correction of its time is not that of entry {entry.seq}: “{name}”")


IN_ZONE = re.compile(r"(\d{4}-\d{2}-\d{2}) (\d{2}:\d{2}:\d{2}) (\S+)(?: .*)?", re.ASCII)


def insist_same_zone(document: Dict[str, Any], told: Dict[str, Any]) -> None:
    """Unfit where a corrected time in the meet's zone is another than the instant: as far from it
    as the announced one, but for an hour where the hour changed between.
    """
    zone, apart = in_zone(document["announced_at"], document["announced_at_local"])
    for name in ("was", "becomes"):
        other, differs = in_zone(told[name], told[f"{name}_local"])
        changed = timedelta(0) if zone == other else timedelta(hours=1)
        if abs(differs - apart) > changed:
            raise Unfit(f"the correction of its time says two times as “{name}”")


def in_zone(instant: str, local: str) -> Tuple[str, timedelta]:
    """In which zone an instant is told, and how far from UTC that is."""
    told = IN_ZONE.fullmatch(local)
    if told is None:
        raise Unfit("a time in the meet's zone is not written as it should be")
    there = as_instant(f"{told[1]}T{told[2]}Z")
    return told[3], there - in_full(instant).replace(microsecond=0)


def insist_end(document: Dict[str, Any], ends: List[Optional[Entry]]) -> None:
    """Unfit unless a file with a window that counts from the end of the meet says when that was."""
    told = document.get("meet_ended_at")
    counts = any(window.get("counts_from") is not None for window in document["windows"])
    if not counts or not ends:
        if told is not None:
            raise Unfit("it says when the meet ended, and nothing counts from that, or it goes on")
        return
    if told is None:
        raise Unfit("the meet has ended, and it does not say when")
    last = ends[-1]
    if last is not None:
        said = last.body.get("ended_at" if last.kind == "meet ended" else "becomes")
        if in_full(told) != in_full(str(said)):
            raise Unfit(f"it says another end of the meet than entry {last.seq}")


def place_in_heat(document: Dict[str, Any]) -> Dict[str, Any]:
    """What is remembered of each announcement; Unfit where it is more than words or numbers."""
    place = {name: small(document.get(name)) for name in ("heat", "id", "number")}
    later = document.get("superseded_by")
    if isinstance(later, dict):
        later = {name: small(later.get(name)) for name in ("id", "number")}
    elif later is not None:
        raise Unfit("it does not say which announcement stands")
    return {**place, "superseded_by": later}


def small(value: Any) -> Any:
    """A value that weighs little; Unfit for any other, which would fill the memory."""
    if isinstance(value, str) and len(value) <= LONGEST_NAME:
        return value
    if value is None or type(value) is int:
        return value
    raise Unfit("it does not say in a word, or a number, where it stands in its heat")


LONGEST_NAME = 200


def look_at_which_stands(documents: Dict[str, Dict[str, Any]], report: Report) -> None:
    """The announcements of a heat count from 1, and each says which one stands now: the last."""
    heats: Dict[str, Dict[str, Dict[str, Any]]] = {}
    for name, said in documents.items():
        heats.setdefault(str(said["heat"]), {})[name] = said
    for of_heat in heats.values():
        ordered = sorted(of_heat.items(), key=lambda one: str(one[1]["number"]).zfill(20))
        last = ordered[-1][1]
        for number, (name, said) in enumerate(ordered, start=1):
            later = said["superseded_by"]
            told = (later.get("id"), later.get("number")) if isinstance(later, dict) else None
            if said["number"] != number:
                report.mismatch(name, f"it should be announcement {number} of its heat")
            elif told != (None if said is last else (last["id"], last["number"])):
                report.mismatch(name, "it says of another announcement, or of none, that it stands")


def results_kept(record: Record) -> Dict[str, Dict[str, int]]:
    """By an announcement whose body is erased, the digests of its result that erasures kept, and by
    which entry.
    """
    kept: Dict[str, Dict[str, int]] = {}
    for entry in record.of("erased"):
        for told in listed(entry.body.get("announced")):
            if isinstance(told, dict):
                digests = kept.setdefault(str(told.get("announcement")), {})
                digests.setdefault(str(told.get("result_sha256")), entry.seq)
    return kept


def insist_kept(document: Dict[str, Any], kept: Dict[str, int]) -> None:
    """Unfit unless the result is the one of which every erasure of its words kept the digest."""
    found = sha256(canonical(result_of(document)).encode())
    for digest, seq in kept.items():
        if digest != found:
            raise Unfit(f"this is not the result that entry {seq} kept the digest of, when erasing")


def result_of(document: Dict[str, Any]) -> Dict[str, Any]:
    """What of an announcement names nobody, and stays when its words are erased."""
    return {
        **{name: document.get(name) for name in ("heat", "number", "announced_at")},
        "lines": [{name: one.get(name) for name in RESULT_LINE} for one in document["lines"]],
        "qualified": [{name: one.get(name) for name in QUALIFIED} for one in document["qualified"]],
    }


RESULT_LINE = (
    *("place", "lane", "bib", "team", "team_name", "affiliation", "status", "thousandths", "time"),
    *("annotation", "qualification", "points"),
)
QUALIFIED = ("team", "team_name", "heat_number", "place", "time", "letter")


def hold_sheet(
    export: Export, name: str, insist: Callable[[str, Dict[str, Any]], None], said: Dict[str, Any]
) -> None:
    insist(utf8(export.read(name, LARGEST_SHEET)), said)


OF_LINES = ("place", "lane", "bib", "team_name", "affiliation", "time", "annotation", "reason")
OF_LINES_TOO = ("qualification", "points")
COLUMNS = [
    *("place", "lane", "bib", "team", "affiliation", "time", "annotation", "reason"),
    *("qualification", "points", "meet", "event", "round", "heat", "announcement"),
    *("announced_at", "superseded_by", "does_not_count"),
]
FORMULAS = ("=", "+", "-", "@", "\t", "\r", "\n", "\0", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""With which a spreadsheet begins to calculate: such a text stands behind an apostrophe."""


def insist_table(text: str, said: Dict[str, Any]) -> None:
    """Unfit unless a CSV has the announced lines, each with which announcement it is of."""
    expected, rows = [COLUMNS, *table_of(said)], 0
    try:
        for row in csv.reader(io.StringIO(text, newline=""), strict=True):
            if rows >= len(expected) or row != expected[rows]:
                raise Unfit(f"its row {rows + 1} is not what the .json beside it says")
            rows += 1
    except csv.Error as error:
        raise Unfit("this is no CSV") from error
    if rows < len(expected):
        raise Unfit("it has fewer rows than the .json beside it has lines")


def table_of(said: Dict[str, Any]) -> Iterator[List[str]]:
    later = said["superseded_by"]
    about = [said[name] for name in ("meet_name", "event_name", "round", "heat_number", "number")]
    about += [announced_at(said), None if later is None else later["number"]]
    about.append(said["does_not_count"])
    for line in said["lines"]:
        own = [line[name] for name in OF_LINES] + [line.get(name) for name in OF_LINES_TOO]
        yield [cell(value) for value in (*own, *about)]


def announced_at(said: Dict[str, Any]) -> Any:
    """When it was announced, in the meet's zone: as it was corrected last."""
    corrected = said["time_corrections"]
    return corrected[-1]["becomes_local"] if corrected else said["announced_at_local"]


def cell(value: Any) -> str:
    if not isinstance(value, str):
        return "" if value is None else str(value)
    calculates = value.startswith(FORMULAS) or value.lstrip().startswith(FORMULAS)
    return f"'{value}" if calculates else value


ORDINALS = ("First", "Second", "Third", "Fourth", "Fifth", "Sixth", "Seventh", "Eighth", "Ninth")
NOT_PLACED = {"DNS": "did not start", "DNF": "did not finish"}


def insist_words(text: str, said: Dict[str, Any]) -> None:
    """Unfit unless what is read aloud names the race, the announcement and, one after another,
    each team with its place or why it has none. What else is read is not looked at.
    """
    race = f" for {said['event_name']}, {said['round']}, heat {said['heat_number']}."
    if f"{race}\n{said['meet_name']}, " not in text:
        raise Unfit("it does not name the race as the .json beside it does")
    if f". Announcement {said['number']}, made at " not in text:
        raise Unfit("it does not say which announcement it is")
    sentences = list(read_aloud(said["lines"]))
    if sentences and "\n".join(["", *sentences, ""]) not in f"\n{text}":
        raise Unfit("it does not read the teams as the .json beside it has them")


def read_aloud(lines: List[Dict[str, Any]]) -> Iterator[str]:
    """A sentence for each team: first those with a place, in their order, then all others."""
    placed = [line for line in lines if line["place"] is not None]
    shared = Counter(line["place"] for line in placed)
    for line in placed:
        place = line["place"]
        word = ORDINALS[place - 1] if 1 <= place <= len(ORDINALS) else f"Place {place}"
        word = f"Equal {within(word)}" if shared[place] > 1 else word
        told = ", ".join(filter(None, [word, line["team_name"], line["time"]]))
        yield f"{told}.{noted(line)}"
    for line in lines:
        if line["place"] is None:
            yield unplaced(line)


def unplaced(line: Dict[str, Any]) -> str:
    team, annotation = f"{line['team_name']}, lane {line['lane']}", line["annotation"]
    if annotation.startswith("DQ"):
        rule = annotation.removeprefix("DQ ")
        return f"Disqualified: {team}, by rule {rule}: {within(line['reason'])}."
    return f"{team}, {NOT_PLACED.get(annotation.split(' ')[0], 'has no place')}.{noted(line)}"


def noted(line: Dict[str, Any]) -> str:
    return f" {line['reason']}." if line["reason"] else ""


def within(words: str) -> str:
    """Words that began a sentence, for the middle of one."""
    return words[:1].lower() + words[1:]


STORED_BESIDE = ("announced_at", "announced_at_local", "entered_at", "windows")
"""What the body of an announcement says beside what was signed."""


def what_was_announced(body: Dict[str, Any]) -> Dict[str, Any]:
    """What was signed, and beside it what came to be when it was stored; Unfit where the body says
    another thing than what was signed.
    """
    statement = body.get("statement")
    if not isinstance(statement, dict):
        raise Unfit("its entry does not say what was signed when it was announced")
    for name in sorted(statement.keys() & body.keys()):
        if canonical(left_open(statement[name], body[name], name)) != canonical(statement[name]):
            raise Unfit(f"what its entry says as “{name}” is not what was signed")
    return {**statement, **{name: body[name] for name in STORED_BESIDE if name in body}}


def left_open(signed: Any, said: Any, name: str) -> Any:
    """What a body says, without the instants that the statement leaves open since only the storing
    knows them: when it was announced, and when a window closes.
    """
    if name == "announced_at":
        return None if signed is None else said
    if name == "advised_at" and is_instant(signed) and is_instant(said):
        # Who was told just before the signing is told the decision, which is when it is signed.
        later = in_full(said) - in_full(signed)
        return signed if timedelta(0) <= later <= JUST_BEFORE else said
    if name != "windows" or len(listed(signed)) != len(listed(said)):
        return said
    both = zip(listed(signed), listed(said))
    return [
        {**b, "closes_at": None} if closes_open(a) and isinstance(b, dict) else b for a, b in both
    ]


JUST_BEFORE = timedelta(minutes=2)


def closes_open(window: Any) -> bool:
    return isinstance(window, dict) and "closes_at" in window and window["closes_at"] is None


def outcomes(
    jobs: List[Tuple[str, Callable[[], None]]], pool: ThreadPoolExecutor
) -> Iterator[Tuple[str, Optional[Exception]]]:
    """What each job found, in order; the pool is handed some at a time, since waiting weighs."""
    for start in range(0, len(jobs), 1_000):
        some = jobs[start : start + 1_000]
        yield from zip((place for place, _ in some), pool.map(outcome, (job for _, job in some)))


def outcome(job: Callable[[], None]) -> Optional[Exception]:
    """What a job found: nothing, that something does not hold, or that it could not be checked."""
    try:
        job()
    except (Unfit, NotChecked) as found:
        return type(found)(str(found))  # itself it holds on to all that was read
    except (
        AttributeError,
        KeyError,
        TypeError,
        ValueError,
        OverflowError,
        RecursionError,
    ) as error:
        return Unfit(f"this cannot be read ({type(error).__name__})")
    return None


ENDINGS = {
    "image/jpeg": "jpg",
    "image/png": "png",
    "image/webp": "webp",
    "image/heic": "heic",
    "image/heif": "heif",
}


def checkpoint_size(name: str) -> Optional[int]:
    """The size that a checkpoint's name says, None for a name that says none."""
    match = re.fullmatch(r"checkpoints/([1-9][0-9]{0,15})\.note", name)
    return int(match[1]) if match else None


def files_of(manifest: Any) -> Dict[str, Tuple[int, str]]:
    """Every file that a manifest names: its size and its SHA-256."""
    if not isinstance(manifest, dict) or not isinstance(manifest.get("files"), list):
        raise Unfit("this is no manifest")
    listed: Dict[str, Tuple[int, str]] = {}
    for one in manifest["files"]:
        fields = set(one) if isinstance(one, dict) else set()
        if fields != {"path", "sha256", "size"} or type(one["size"]) is not int:
            raise Unfit("it names a file without its path, size and SHA-256")
        if not isinstance(one["path"], str) or not one["path"]:
            raise Unfit("it names a file without a name")
        if one["path"] in listed:
            raise Unfit(f"it names a file twice: {one['path']}")
        listed[one["path"]] = (one["size"], str(one["sha256"]))
    return listed


# The command ----------------------------------------------------------------------------------


@contextmanager
def open_export(path: str) -> Iterator[Any]:
    """The folder or the ZIP at a path, until it is no longer needed; Unfit for anything else."""
    try:
        source = Folder(path) if os.path.isdir(path) else Archive(path)
    except BROKEN as error:
        raise Unfit("this is neither a folder nor a ZIP that can be read") from error
    with source.zip if isinstance(source, Archive) else nullcontext():
        yield source


def check(path: str, asked: Asked = NOTHING_ASKED) -> Report:
    """Check an export; Unfit where there is none at this path."""
    with open_export(path) as source:
        return Checker(source, asked).run()


ON_SHEETS = "record head"
HEAD_IN_WORDS = re.compile(
    r"([0-9]{1,16})(?: entries)?[\s,:·]+(?:root )?([0-9a-fA-F]{4}[0-9a-fA-F\s]{12,80})"
)


def read_asked_head(text: str) -> Tuple[Head, Optional[Note]]:
    """A head as a sheet shows it: size and root, short or full; or a whole note, or its file."""
    told = text.strip()
    if told.lower().startswith(ON_SHEETS):
        told = told[len(ON_SHEETS) :].strip()
    words = HEAD_IN_WORDS.fullmatch(told)
    if words is not None:
        root = "".join(words[2].split()).lower()
        if 16 <= len(root) <= 64 and int(words[1]):
            return Head(int(words[1]), root), None
        raise argparse.ArgumentTypeError("a head is a size and at least 16 digits of its root")
    try:
        # A shell takes the end of the last line away, and whoever pastes a code may, too.
        whole_note = f"{told}\n".encode("utf-8", "replace") if "\n" in told else note_file(text)
        note = read_note(whole_note)
        return read_checkpoint(note.text)[1], note
    except Unfit as error:
        raise argparse.ArgumentTypeError(
            f"this is no head: {shown(error)}. A head is a number and at least 16 digits of the "
            "root, as a sheet shows it, or a signed note, or the file of one"
        ) from error


def note_file(path: str) -> bytes:
    try:
        with open(path, "rb") as file:
            return file.read(LARGEST_NOTE)
    except (OSError, ValueError) as error:
        raise Unfit("it is not written like one, and no file of this name can be read") from error


def read_asked_paper(path: str) -> Tuple[str, bytes]:
    """A PDF that somebody kept: the last part of its name, and its content."""
    try:
        with open(path, "rb") as file:
            content = file.read(LARGEST_PAPER + 1)
    except (OSError, ValueError) as error:
        raise argparse.ArgumentTypeError("this file cannot be read") from error
    if b"%PDF-" not in content[:1024] or len(content) > LARGEST_PAPER:
        raise argparse.ArgumentTypeError(f"this is no PDF of at most {LARGEST_PAPER} bytes")
    return os.path.basename(path), content


def read_asked_seal(text: str) -> str:
    """A certificate's fingerprint in hex, with or without colons, also as openssl prints it; or a
    verifier key.
    """
    if "+" in text:
        return text.strip()
    told = re.sub(r"^\s*sha-?256 fingerprint\s*=", "", text, flags=re.IGNORECASE)
    bare = "".join(told.replace(":", "").split()).lower()
    if HEX64.fullmatch(bare) is None:
        raise argparse.ArgumentTypeError("a fingerprint is a SHA-256: 64 digits in hex")
    return bare


ENDS = (
    "It ends with 0 where everything agrees; 1 where something does not: it says what, and where; "
    "2 where it was called wrongly, or there is no export; 3 where what was checked agrees, but "
    "something wants explaining or was not checked."
)


def main(arguments: Optional[List[str]] = None) -> int:
    """Check what the command line names, and say what was found."""
    parser = argparse.ArgumentParser(
        prog="check.py", description="Check an export of a meet's record.", epilog=ENDS
    )
    parser.add_argument("export", metavar="EXPORT", help="the folder or the ZIP of the export")
    parser.add_argument(
        "--head",
        action="append",
        default=[],
        type=read_asked_head,
        metavar="HEAD",
        help="what a printed sheet shows, such as '264 3f2a 91bc 77d0 e1aa'; the text of its QR "
        "code; or a file that holds it",
    )
    parser.add_argument(
        "--seal",
        action="append",
        default=[],
        type=read_asked_seal,
        metavar="SEAL",
        help="the SHA-256 fingerprint of the certificate that must have sealed, or the verifier "
        "key that must have signed the heads; once for each, where a meet had several, since one "
        "that the record names besides does not agree",
    )
    parser.add_argument(
        "--paper",
        action="append",
        default=[],
        type=read_asked_paper,
        metavar="FILE",
        help="the PDF of a sealed paper that you kept: that the record has it, and its head",
    )
    parsed = parser.parse_args(arguments)
    try:
        asked = Asked(tuple(parsed.head), tuple(parsed.seal), tuple(parsed.paper))
        report = check(parsed.export, asked)
    except Unfit as error:
        say([f"{shown(parsed.export)}: {error}"])
        return 2
    say(lines_of(report))
    return report.ends_with


def lines_of(report: Report) -> Iterator[str]:
    """What was found, in words: what does not agree first."""
    yield from (f"DOES NOT AGREE  {one}" for one in report.mismatches)
    if report.beyond:
        yield f"DOES NOT AGREE  and {report.beyond} more"
    yield from (f"WANTS EXPLAINING  {one}" for one in report.to_explain)
    yield from (f"NOT CHECKED  {one}" for one in report.unchecked)
    yield from report.told
    yield {
        0: "Everything agrees.",
        1: f"{counted(report.found, 'thing does', 'things do')} NOT agree.",
        3: "What was checked agrees, but see above what wants explaining or was not checked.",
    }[report.ends_with]


def say(lines: Iterable[str]) -> None:
    for line in lines:
        coding = sys.stdout.encoding or "ascii"
        print(line.encode(coding, "backslashreplace").decode(coding))


if __name__ == "__main__":
    sys.exit(main())
