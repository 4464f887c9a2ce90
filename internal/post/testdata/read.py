"""Reads letters with Python's own mail reader and prints one line for each."""
import email, email.policy, sys


def shape(part):
    if part.is_multipart():
        return part.get_content_type() + "(" + " ".join(shape(p) for p in part.iter_parts()) + ")"
    return part.get_content_type()


for path in sys.argv[1:]:
    with open(path, "rb") as f:
        letter = email.message_from_binary_file(f, policy=email.policy.default)
    defects = [d for part in letter.walk() for d in part.defects]
    for name, value in letter.items():
        defects += value.defects
    ids = [p["Content-ID"] for p in letter.walk() if p["Content-ID"]]
    list_name, _, list_id = letter["List-Id"].rpartition(" ")
    print("|".join([str(letter["To"]), letter["Subject"], str(letter["From"]), list_id + " " + list_name,
                    letter["Auto-Submitted"], shape(letter), " ".join(ids), str(defects) if defects else "no defects"]))
