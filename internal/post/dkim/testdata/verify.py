"""Verifies both signatures of a letter with dkimpy, and looks for defects with the
email package: verify.py RECORDS LETTER, where a line of RECORDS is a name in DNS, a
tab and its text. Written apart from the Go code that it is held against."""
import email
import email.policy
import sys

import dkim

records = dict(line.split("\t") for line in open(sys.argv[1]).read().splitlines())
letter = open(sys.argv[2], "rb").read()


def good(i):
    try:
        return dkim.DKIM(letter).verify(idx=i, dnsfunc=lambda name, timeout=5: records.get(name.decode().rstrip("."), "").encode())
    except dkim.ValidationError:
        return False


parts = email.message_from_bytes(letter, policy=email.policy.default).walk()
print([good(i) for i in range(2)], [d for p in parts for d in p.defects])
