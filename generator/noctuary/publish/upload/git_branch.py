"""A branch of a git repository as a destination: one commit that holds the site, and changes in one step.

The commit has no history unless that is asked for, since every version of every picture would stay in it for ever.
git itself does the work, with its own keys, agents and credential helpers. The tree says what the branch holds, and
the archive's cache keeps the trees, so that nothing has to be fetched, and no picture a second time. What git
does comes from a folder made anew each time: nothing in an archive's cache can configure it.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from noctuary.archive.upload_address import UploadAddress
from noctuary.build_manifest import FOLDER
from noctuary.publish.upload.cache import UPLOADS, keep_plain, led_away, read_plain
from noctuary.publish.upload.connection import Passing, UploadError
from noctuary.publish.upload.credentials import certificates
from noctuary.publish.upload.listing import NAME, DamagedListing, Listing, State, name_digest, read_listing
from noctuary.publish.upload.plan import owner_trouble
from noctuary.publish.upload.site_files import SiteFile
from noctuary.publish.upload.transfer import tried
from noctuary.publish.upload.upload import (
    Archived,
    Choices,
    Progress,
    Report,
    copy_name,
    moved_notes,
    owner_of,
    settled,
)

#: Hosts of pages refuse, or slow down, branches that weigh more.
LARGE_BYTES = 1_000_000_000
_BLOBS = "blobs.json"
_WITHOUT_HISTORY = (
    "The branch is one commit without history, so that old versions of pictures do not stay in it for ever "
    "(--keep-history keeps them)."
)
#: What git says when another try may help, and what it says when none will.
_PASSES = re.compile(
    r"could not resolve|timed out|connection (reset|refused|closed)|early eof|hung up|unexpected disconnect|"
    r"broken pipe|returned error: (429|5\d\d)|rpc failed|network is unreachable|index\.lock",
    re.I,
)
_STAYS: tuple[tuple[re.Pattern[str], str], ...] = (
    (re.compile(r"host key verification failed|remote host identification has changed", re.I),
     "connect once by hand with ssh and compare the fingerprint"),
    (re.compile(r"permission denied|authentication failed|could not read (username|password)|returned error: 40[13]",
                re.I),
     "see that your key, or git's credential helper, opens that repository"),
    (re.compile(r"not found|does not appear to be a git repository|does not exist", re.I),
     "see that the address names a repository that exists"),
    (re.compile(r"no space left|disk quota|file size limit|exceeds", re.I), "make room there, or publish less"),
    (re.compile(r"stale info|fetch first", re.I), "somebody changed the branch meanwhile: run upload again"),
    (re.compile(r"rejected|denied by|hook declined|protected", re.I),
     "the host refuses this branch to begin anew: try --keep-history, or ask the host"),
)  # fmt: skip


@dataclass(frozen=True)
class Entry:
    """A file in a git tree."""

    mode: str
    id: str


def upload_branch(
    archived: Archived, site: Mapping[str, SiteFile], address: UploadAddress, choices: Choices
) -> Report:
    """Makes the branch hold the site; raises :class:`UploadError`."""
    began = time.monotonic()
    if shutil.which("git") is None:
        raise UploadError("git is not installed", "install git, then run upload again")
    if led_away(archived.folder):
        raise UploadError(f"{FOLDER} is a link, and would be written through it", "delete the link")
    store = archived.folder / FOLDER / UPLOADS / copy_name(address).replace(".json", ".trees")
    store.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=store.parent, prefix="git-") as work:
        git = _Git(Path(work), store, address, choices)
        before = git.head()
        if before is not None:
            git.fetch(before)
        published = git.files(before) if before else {}
        listing = _listing(git, published)
        owner = owner_of(archived)
        if listing is not None:
            if trouble := owner_trouble(listing, owner, address.shown):
                raise trouble
            owner = owner_of(archived, listing.owner.key)
        ours = set(listing.files) if listing else set()
        foreign = {n: e for n, e in published.items() if name_digest(n) not in ours and n != NAME}
        ids = _blob_ids(archived.folder, site, before)
        _check_foreign(foreign, ids, replace=choices.replace)
        send = [file for name, file in site.items() if name not in published or published[name].id != ids[name]]
        remove = [n for n in published if n not in site and n not in foreign and n != NAME]
        after = {name_digest(f.name): (State(f.digest, f.size),) for f in site.values()}
        notes = [*moved_notes(listing.owner.address if listing else None, archived.address), *_size_notes(site)]
        same = listing is not None and listing.owner == owner and listing.files == after
        report = Report(tuple(send), tuple(sorted(remove)), site, address.shown, tuple(notes))
        if choices.dry_run or (same and not send and not remove):
            if not choices.dry_run:
                settled(archived, address, site, after, owner)
            return report
        if before is not None and not choices.keep_history and not choices.replace and git.has_parents(before):
            raise UploadError(
                f"{address.shown} has a history that beginning anew would take away",
                "name another branch, or add to it with --keep-history; --replace begins anew all the same",
            )
        git.write(send)
        entries = {n: e for n, e in foreign.items() if n not in site}
        entries |= {name: Entry("100644", ids[name]) for name in site}
        entries[NAME] = Entry("100644", git.write_bytes(Listing(owner, after).as_bytes()))
        commit = git.commit(entries, archived.title, before if choices.keep_history else None)
        git.push(commit, before, sum(file.size for file in send), history=choices.keep_history)
        git.keep_trees(commit, entries[NAME].id)
        settled(archived, address, site, after, owner)
        if not choices.keep_history:
            notes.append(_WITHOUT_HISTORY)
    return Report(report.send, report.remove, site, address.shown, tuple(notes), time.monotonic() - began)


def _listing(git: _Git, published: Mapping[str, Entry]) -> Listing | None:
    if NAME not in published:
        return None
    try:
        return read_listing(git.read(published[NAME].id))
    except DamagedListing:
        raise UploadError(
            f"the listing {NAME} on that branch is damaged, so nobody can tell what is this site's",
            "delete it there, then run upload again with --replace",
        ) from None


def _check_foreign(foreign: Mapping[str, Entry], ids: Mapping[str, str], *, replace: bool) -> None:
    in_the_way = [name for name, entry in foreign.items() if name in ids and entry.id != ids[name]]
    if in_the_way and not replace:
        shown = ", ".join(in_the_way[:3]) + (f" and {len(in_the_way) - 3} more" if in_the_way[3:] else "")
        raise UploadError(
            f"files that no upload made are in the way there: {shown}",
            "move them away, or write over them with --replace",
        )


def _size_notes(site: Mapping[str, SiteFile]) -> list[str]:
    size = sum(file.size for file in site.values())
    if size < LARGE_BYTES:
        return []
    return [
        f"The site weighs {size / 1e9:.1f} GB; hosts of pages from git often allow 1 GB. publish_size: 2048 px in "
        "archive.yaml makes it lighter."
    ]


def _blob_ids(archive: Path, site: Mapping[str, SiteFile], head: str | None) -> dict[str, str]:
    """The name that git gives to each file's content, from the cache where the digest is the same."""
    kind = "sha256" if head is not None and len(head) == 64 else "sha1"
    known = read_plain(archive, _BLOBS)
    kept: object = known.get(kind)
    ids = {k: v for k, v in kept.items() if isinstance(v, str)} if isinstance(kept, dict) else {}
    of_file = {}
    for file in site.values():
        if file.digest not in ids:
            data = file.read()
            content = b"blob %d\0" % len(data) + data
            ids[file.digest] = hashlib.new(kind, content, usedforsecurity=False).hexdigest()
        of_file[file.name] = ids[file.digest]
    needed = {file.digest: ids[file.digest] for file in site.values()}
    if needed != kept:
        keep_plain(archive, _BLOBS, {kind: needed})
    return of_file


class _Git:
    """git at work in a bare repository of its own, in a folder made for this upload."""

    def __init__(self, folder: Path, store: Path, address: UploadAddress, choices: Choices) -> None:
        self._folder, self._store, self._address = folder, store, address
        self._sleep: Callable[[float], None] = choices.sleep
        self._progress: Progress = choices.progress
        self._ref = f"refs/heads/{address.branch}"
        self._plain_config = ""
        asks = sys.stdin.isatty() and sys.stderr.isatty()
        kept = {name: value for name, value in os.environ.items() if name not in _ELSEWHERE}
        if (bundle := certificates()) is not None:
            kept.setdefault("GIT_SSL_CAINFO", bundle)
        self._environment = {
            **kept,
            "GIT_DIR": str(folder),
            "GIT_TERMINAL_PROMPT": "1" if asks else "0",
            "LC_ALL": "C",
            **{f"GIT_{who}_{what}": text for who in ("AUTHOR", "COMMITTER") for what, text in _SIGNATURE.items()},
        }
        if not asks and "GIT_SSH" not in kept and "GIT_SSH_COMMAND" not in kept:
            self._environment["GIT_SSH_COMMAND"] = "ssh -o BatchMode=yes"

    def head(self) -> str | None:
        """The commit on the branch, or ``None`` where there is no branch."""
        # A repository of our own first: what lies around this folder must not configure git.
        self._run("init", "-q", "--bare", "--template=")
        answer = self._again(lambda: self._run("ls-remote", self._address.path, self._ref)).decode()
        commit = next((line.split("\t")[0] for line in answer.splitlines() if line.endswith(f"\t{self._ref}")), None)
        if commit and len(commit) == 64:
            for entry in self._folder.iterdir():
                shutil.rmtree(entry) if entry.is_dir() else entry.unlink()
            self._run("init", "-q", "--bare", "--template=", "--object-format=sha256")
        self._plain_config = (self._folder / "config").read_text(encoding="utf-8")
        (self._folder / "objects" / "info").mkdir(exist_ok=True)
        if self._store.is_dir():
            (self._folder / "objects" / "info" / "alternates").write_text(f"{self._store}\n", encoding="utf-8")
        return commit

    def fetch(self, head: str) -> None:
        """The commit and its trees, unless the cache has them."""
        try:
            self._run("ls-tree", "-r", head)
        except (UploadError, Passing):
            self._run("config", "remote.origin.url", self._address.path)
            fetch = ("fetch", "-q", "--depth=1", "--filter=blob:none", "--no-tags", "origin", head)
            self._again(lambda: self._run(*fetch))
        # Beside this commit nothing is known of its history, and a push must compare trees for all that.
        (self._folder / "shallow").write_text(f"{head}\n", encoding="ascii")

    def files(self, head: str) -> dict[str, Entry]:
        entries = {}
        for line in self._run("ls-tree", "-r", "-z", head).decode("utf-8", "surrogateescape").split("\0"):
            if line:
                about, _, name = line.partition("\t")
                mode, _, oid = about.split()
                entries[name] = Entry(mode, oid)
        return entries

    def read(self, oid: str) -> bytes:
        return self._again(lambda: self._run("cat-file", "blob", oid))

    def has_parents(self, head: str) -> bool:
        return b"\nparent " in self._run("cat-file", "commit", head).partition(b"\n\n")[0]

    def write(self, files: Iterable[SiteFile]) -> None:
        """The contents of files as objects of the repository."""
        todo = list(files)
        paths = "".join(f"{file.path}\n" for file in todo).encode("utf-8", "surrogateescape")
        self._run("hash-object", "-w", "--stdin-paths", "--no-filters", given=paths)
        for file in todo:
            file.check()

    def write_bytes(self, data: bytes) -> str:
        return self._run("hash-object", "-w", "--stdin", "--no-filters", given=data).decode().strip()

    def commit(self, entries: Mapping[str, Entry], title: str, parent: str | None) -> str:
        lines = "".join(f"{e.mode} {e.id}\t{name}\0" for name, e in sorted(entries.items()))
        self._run("update-index", "-z", "--index-info", given=lines.encode("utf-8", "surrogateescape"))
        tree = self._run("write-tree", "--missing-ok").decode().strip()
        history = ("-p", parent) if parent else ()
        return self._run("commit-tree", tree, *history, given=f"{title}\n".encode()).decode().strip()

    def push(self, commit: str, before: str | None, size: int, *, history: bool) -> None:
        """Puts the commit on the branch if that is still what it was."""
        # Lazily fetching what is only compared with would bring back the old site.
        (self._folder / "config").write_text(self._plain_config, encoding="utf-8")
        lease = f"--force-with-lease={self._ref}:{before or ''}"
        way = () if history else (lease,)
        command = ("push", "--progress", "--thin", "--no-verify", *way, self._address.path, f"{commit}:{self._ref}")
        self._progress("sending", 0, size)

        def percent(part: int) -> None:
            self._progress("sending", size * part // 100, size)

        self._again(lambda: self._run(*command, percent=percent))

    def keep_trees(self, commit: str, listing: str) -> None:
        """Keeps the commit, its trees and its listing for the next upload; pictures are not kept."""
        lines = self._run("ls-tree", "-r", "-t", commit).decode("utf-8", "replace").splitlines()
        trees = {line.split()[2] for line in lines if line.split()[1] == "tree"}
        root = self._run("rev-parse", f"{commit}^{{tree}}").decode().strip()
        wanted = "\n".join([commit, root, *sorted(trees), listing]) + "\n"
        fresh = self._folder / "kept" / "pack"
        fresh.mkdir(parents=True)
        self._run("pack-objects", "-q", str(fresh / "pack"), given=wanted.encode())
        shutil.rmtree(self._store, ignore_errors=True)
        fresh.parent.replace(self._store)

    def _again(self, work: Callable[[], bytes]) -> bytes:
        return tried(work, self._address.shown, self._sleep)

    def _run(
        self,
        *arguments: str,
        given: bytes | None = None,
        percent: Callable[[int], None] | None = None,
    ) -> bytes:
        """Runs one command of git; its standard output."""
        # Pictures do not compress, and no two of them have much in common.
        settings = ("core.compression=1", "pack.window=0", f"core.hooksPath={os.devnull}", "gc.auto=0")
        options = [part for setting in settings for part in ("-c", setting)]
        process = subprocess.Popen(
            ["git", *options, *arguments],
            env=self._environment,
            cwd=self._folder,
            stdin=subprocess.PIPE if given is not None else subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
        try:
            if percent is None:
                out, complaint = process.communicate(given)
            else:
                out, complaint = b"", _followed(process, percent)
        except BaseException:
            process.kill()
            raise
        finally:
            process.wait()
        if process.returncode == 0:
            return out
        raise _trouble(complaint.decode("utf-8", "replace"), self._address.shown)


#: What would lead git to another repository than the one made for this.
_ELSEWHERE = {
    "GIT_ALTERNATE_OBJECT_DIRECTORIES",
    "GIT_COMMON_DIR",
    "GIT_CONFIG",
    "GIT_DIR",
    "GIT_INDEX_FILE",
    "GIT_NAMESPACE",
    "GIT_OBJECT_DIRECTORY",
    "GIT_PREFIX",
    "GIT_SHALLOW_FILE",
    "GIT_WORK_TREE",
}
_SIGNATURE = {"NAME": "noctuary", "EMAIL": "noctuary@upload.invalid"}


def _followed(process: subprocess.Popen[bytes], percent: Callable[[int], None]) -> bytes:
    """What a push says, its progress passed on as it comes."""
    assert process.stderr is not None
    complaint = b""
    line = b""
    while letter := process.stderr.read(1):
        line += letter
        if letter in b"\r\n":
            if progress_line := re.search(rb"Writing objects: +(\d+)%", line):
                percent(int(progress_line[1]))
            elif letter == b"\n":
                complaint += line
            line = b""
    process.wait()
    return complaint + line


def _trouble(complaint: str, shown: str) -> Passing | UploadError:
    lines = [line.strip() for line in complaint.splitlines() if line.strip()]
    grave = [line for line in lines if line.startswith(("fatal:", "error:", "ERROR", " ! ", "! ", "remote:"))]
    why = re.sub(r"//[^/@\s]*@", "//", (grave or lines or ["git failed without a word"])[0])
    for pattern, hint in _STAYS:
        if pattern.search(complaint):
            exact = next((line for line in lines if pattern.search(line)), why)
            return UploadError(f"{shown}: {re.sub(r'//[^/@ ]*@', '//', exact)}", hint)
    if _PASSES.search(complaint):
        return Passing(why)
    return UploadError(f"{shown}: {why}", "see what git says of that repository by hand")
