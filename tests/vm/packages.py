# SPDX-License-Identifier: GPL-3.0-or-later
"""Where the files of a Debian package are: on this machine, or unpacked beside the image.

Nothing is installed and no privilege is needed: a kernel for the guest has no business in the
boot menu of the machine that tests.
"""

import re
import shutil
import subprocess
from pathlib import Path


class PackageError(Exception):
    """A package can be neither found nor fetched."""


def output(*words):
    """What a command prints; PackageError with its complaint when it fails."""
    run = subprocess.run(words, capture_output=True, text=True)
    if run.returncode != 0:
        raise PackageError(f"{' '.join(map(str, words))}: {run.stderr.strip()}")
    return run.stdout


def installed(package):
    """The version of a package that is installed here, or None."""
    run = subprocess.run(["dpkg-query", "-W", "-f", "${db:Status-Status} ${Version}", package],
                         capture_output=True, text=True)
    status, _, version = run.stdout.partition(" ")
    return version if run.returncode == 0 and status == "installed" else None


class Packages:
    """Packages by name; what has to be fetched is kept below `folder`.

    folder  a folder of ours; packages unpacked there once are used again
    """

    def __init__(self, folder):
        self._folder = Path(folder)
        self._options = []

    def _lists_of_our_own(self):
        """A machine may have no package lists, and its own may be root's to renew."""
        state = (self._folder / "apt").resolve()
        for part in ("lists/partial", "cache/archives/partial"):
            (state / part).mkdir(parents=True, exist_ok=True)
        self._options = ["-o", f"Dir::State::lists={state}/lists",
                         "-o", f"Dir::Cache={state}/cache", "-o", "APT::Sandbox::User=root"]
        output("apt-get", *self._options, "-qq", "update")

    def _with_lists(self, command):
        """The output of an apt command, which is tried again with fresh lists when it fails."""
        try:
            return command()
        except PackageError:
            if self._options:
                raise
            self._lists_of_our_own()
            return command()

    def dependency(self, package, pattern):
        """The dependency of a package whose name matches: the real one behind a meta package."""
        if installed(package) is not None:
            text = output("dpkg-query", "-W", "-f", "${Depends}", package)
        else:
            text = self._with_lists(
                lambda: output("apt-cache", *self._options, "show", "--no-all-versions", package))
        match = re.search(pattern, text)
        if match is None:
            raise PackageError(f"{package} depends on nothing like {pattern}")
        return match[0]

    def root(self, package):
        """The folder below which the files of the package have their usual paths."""
        if installed(package) is not None:
            return Path("/")
        place = self._folder / "packages" / package
        if not place.is_dir():
            self._fetch(package, place)
        return place

    def _fetch(self, package, place):
        """Unpacks beside the place and renames: what is there is there whole."""
        fresh = place.with_name(package + ".new")
        shutil.rmtree(fresh, ignore_errors=True)
        fresh.mkdir(parents=True)
        self._with_lists(lambda: self._download(package, fresh))
        for archive in fresh.glob("*.deb"):
            output("dpkg-deb", "-x", archive, fresh)
            archive.unlink()
        fresh.rename(place)

    def _download(self, package, place):
        run = subprocess.run(["apt-get", *self._options, "-qq", "download", package], cwd=place,
                             capture_output=True, text=True)
        if run.returncode != 0 or not list(place.glob("*.deb")):
            raise PackageError(f"apt-get download {package}: {run.stderr.strip()}")
