"""A writer for the tests of the store: keeps records for ever, and says which ones were acknowledged.

Run as `python write_until_killed.py BOOK PREFIX`. Each line is the id of a record whose append returned.
"""

import sys

from datasets.store import Journal, New


def main(path: str, prefix: str) -> None:
    """Append one record at a time under a number of its own until the process is killed."""
    with Journal.open(path, create=True) as book:
        while True:
            with book.transaction():
                record_id = book.next_id(prefix, digits=3)
                book.append([New("build", record_id, '{"note": "' + "x" * 5000 + '"}')])
            sys.stdout.write(record_id + "\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main(*sys.argv[1:])
