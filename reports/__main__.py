"""Start of the command line. Nothing of ours is imported before it is known to be ours."""

import sys
from importlib.metadata import packages_distributions

OURS = "drawweight-predictor"
PACKAGES = ("datasets", "predictor", "training", "reports")


def foreign_owner() -> str | None:
    """Return a message if another distribution of this environment owns the name of one of our packages."""
    owners = packages_distributions()
    for package in PACKAGES:
        others = sorted(set(owners.get(package, [])) - {OURS})
        if others:
            return (
                f"wanted the package {package} to be this tool's own, got one of {', '.join(others)} in the "
                "same environment; install the tool into an environment of its own"
            )
    return None


def main() -> None:
    """Run the command line and end the process with its exit code."""
    clash = foreign_owner()
    if clash:
        sys.stderr.write(f"drawweight: {clash}\n")
        sys.exit(3)
    from reports.cli import run  # after the check above, or a foreign package would be imported

    sys.exit(run(sys.argv[1:]))


if __name__ == "__main__":
    main()
