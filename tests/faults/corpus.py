"""Values that no honest client sends, each as the bytes that stand in the body; and bodies broken as a whole.

After the tables of what stock frameworks get wrong: wrong kinds, hidden characters, numbers at every edge, times that
never were, words that mean something to a shell, a spreadsheet or a browser.
"""

from __future__ import annotations

import json

_NUMBERS = ["0", "-0", "-0.0", "-1", "0.5", "1.5", "1e400", "-1e400", "1e-400", "1e308", "2147483648", "9007199254740993",
            "9223372036854775808", "1" + "0" * 30, "9" * 5000, "0.1234567890123456789", "NaN", "-Infinity", "01", "1_000",
            "0x10", "+1"]  # fmt: skip
_TEXTS = ["", " ", "a", "1", "true", "null", "1,5", "½", "２.８", "1e3", "nan", "-0", "2.8000000000001", "ton", "lbs.",
          "x" * 5_000, "🍇", "e\u0301", "a\u200bb", "a\u200fb", "tab\there", "line\nbreak", "=1+1", "+44 7", "@SUM(1)", "-2+3",
          "' OR 1=1 --", '"; DROP TABLE vine; --', "<b onload=x>&amp;</b>", "{{7*7}}", "${jndi:x}", "../../etc/passwd",
          "%00", "%s%n", "0000-01-01T00:00:00Z", "9999-12-31T23:59:59-01:00", "1899-12-31T23:59:59Z", "2027-02-30T10:00:00Z",
          "2027-01-16T23:59:60Z", "2027-01-16T10:02:00", "2027-01-16", "2027-03-14T02:30:00-05:00", "2027-02-29",
          "0000-00-00", "9999-12-31", "00000000-0000-0000-0000-000000000000", "not-an-id"]  # fmt: skip
_ESCAPED = [
    r'"a\u0000b"',
    r'"\u0000"',
    r'"\ud800"',
    r'"\udc00\ud800"',
    r'"\u202ex"',
    r'"\u2066x"',
    r'"\u0007"',
    r'"\ufeffa"',
]
_STRUCTURES = ["null", "true", "false", "{}", "[]", "[[]]", "[null]", '["a"]', '{"a": 1}', '{"value": 1}', '{"unit": "lb"}',
               '{"value": 1, "unit": "lb", "x": 1}', '{"value": 1, "value": 2, "unit": "lb"}', '{"": 1}', r'{"\u0000": 1}',
               "[" * 40 + "]" * 40]  # fmt: skip
_BYTES = [b'"Ch\xe2teau"', b'"\xff\xfe"', b'"\xed\xa0\x80"', b'"\xc0\x80"', b'"a\x01b"', b'"\x00"', b"", b"'a'", b'"a']

#: What may stand where a value is expected.
VALUES: list[bytes] = [
    *(each.encode() for each in [*_NUMBERS, *_ESCAPED, *_STRUCTURES]),
    *(json.dumps(text, ensure_ascii=False).encode() for text in _TEXTS),
    *_BYTES,
]


def broken(body: bytes) -> dict[str, bytes]:
    """Give a good JSON object broken in each way in which the whole of it can be."""
    return {
        "nothing": b"",
        "white space": b" \n",
        "cut in half": body[: len(body) // 2],
        "something after it": body + b" {}",
        "byte order mark": b"\xef\xbb\xbf" + body,
        "UTF-16": body.decode().encode("utf-16"),
        "another kind": b"null",
        "a list": b"[" + body + b"]",
        "a list in a list": b"[[" + body + b"]]",
        "a text": json.dumps(body.decode()).encode(),
        "a form": b"name=a&id=1",
        "XML": b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/passwd">]><a>&b;</a>',
        "deep": b'{"a":' * 5_000 + b"1" + b"}" * 5_000,
        "very deep": b"[" * 100_000 + b"]" * 100_000,
        "deep in a member": body[:-1] + b', "note": ' + b"[" * 5_000 + b"]" * 5_000 + b"}",
        "a megabyte of text": body[:-1] + b', "note": "' + b"x" * 1_000_000 + b'"}',
        "ten thousand members": body[:-1] + b"".join(b', "m%d": 1' % n for n in range(10_000)) + b"}",
        "a name that hides something": body[:-1] + rb', "n\u0000te": 1}',
        "three megabytes": body[:-1] + b', "note": "' + b"x" * 3_000_000 + b'"}',
    }
