"""Reads a table with Python's csv module in strict mode (RFC 4180): table.py FILE; prints its rows as JSON.

Line ends must be CRLF; the file must be UTF-8 and every row as long as the head.
"""
import csv
import io
import json
import sys

content = open(sys.argv[1], "rb").read()
text = content.decode("utf-8")
rows = list(csv.reader(io.StringIO(text, newline=""), strict=True, lineterminator="\r\n"))
quoted = False
for at, letter in enumerate(text):
    if letter == '"':
        quoted = not quoted
    elif letter == "\n" and not quoted and text[at - 1] != "\r":
        sys.exit("a line ends without CR")
if any(len(row) != len(rows[0]) for row in rows):
    sys.exit("rows of different length")
print(json.dumps(rows))
