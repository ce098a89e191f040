"""What a power cut could take: files and names that the disk was not told to keep."""

import os
from contextlib import contextmanager
from pathlib import Path

import pytest


class Disk:
    """Watches what is flushed, and what gets its final name before it was."""

    def __init__(self):
        self.flushed = {}  #: by inode: size at the last flush
        self.early = []  #: names given to files that could be empty after a power cut
        self.unsure = {}  #: by inode: folders whose newest names could be gone
        self.unsure_at = {}  #: by name: such folders at the time when it was given

    def flush(self, handle):
        facts = os.fstat(handle)
        self.flushed[facts.st_ino] = facts.st_size
        self.unsure.pop(facts.st_ino, None)

    def named(self, source, target):
        facts = source.stat()
        if self.flushed.get(facts.st_ino) != facts.st_size:
            self.early.append(target.name)
        self.unsure_at[target.name] = sorted(folder.name for folder in self.unsure.values())
        self.unsure[target.parent.stat().st_ino] = target.parent

    def kept(self):
        """Whether all would be there after a power cut now."""
        gone = [folder for folder in self.unsure.values() if folder.exists()]
        return self.early == [] and gone == []


@contextmanager
def watched_disk():
    """Watch every flush, rename and link of this process meanwhile."""
    disk, fsync, replace, link = Disk(), os.fsync, Path.replace, Path.hardlink_to

    def flush(handle):
        fsync(handle)
        disk.flush(handle)

    def rename(self, target):
        disk.named(self, target)
        return replace(self, target)

    def second_name(self, target):
        disk.named(target, self)
        return link(self, target)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fsync", flush)
        patch.setattr(Path, "replace", rename)
        patch.setattr(Path, "hardlink_to", second_name)
        yield disk
