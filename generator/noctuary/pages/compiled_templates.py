"""Templates of this program compiled once, and kept beside them as Python keeps its own modules.

What is kept is code that runs when it is loaded. So it is in ``__pycache__`` beside the template, inside the
program itself, where whoever can write can change the program as well; never in an archive, and never for a template
of somebody's own. Where nothing can be written there, templates are compiled each time.
"""

from __future__ import annotations

import sys
from contextlib import suppress
from functools import cached_property
from hashlib import sha256
from io import BytesIO
from pathlib import Path

import jinja2
from jinja2 import Environment
from jinja2.bccache import Bucket, BytecodeCache

from noctuary.files import write_whole


class CompiledTemplates(BytecodeCache):
    """The compiled templates of the themes below ``home``, for an environment whose compiled code says nothing of a
    language: where no filter is applied while compiling."""

    def __init__(self, home: Path) -> None:
        self._home = home

    def get_bucket(self, environment: Environment, name: str, filename: str | None, source: str) -> Bucket:
        """What is kept of a template, empty where that is nothing or of another source."""
        file = Path(filename) if filename is not None else None
        ours = file is not None and file.is_relative_to(self._home) and ".." not in file.parts
        bucket = Bucket(environment, str(self._kept(file, environment)) if file and ours else "", "")
        bucket.checksum = sha256(f"{self._compiler}\0{_options(environment)}\0{name}\0{source}".encode()).hexdigest()
        self.load_bytecode(bucket)
        return bucket

    def load_bytecode(self, bucket: Bucket) -> None:
        if bucket.key:
            with suppress(OSError, ValueError, EOFError, TypeError):
                bucket.load_bytecode(BytesIO(Path(bucket.key).read_bytes()))

    def dump_bytecode(self, bucket: Bucket) -> None:
        if bucket.key and not sys.dont_write_bytecode:
            data = BytesIO()
            bucket.write_bytecode(data)
            with suppress(OSError):
                write_whole(Path(bucket.key), data.getvalue())

    @staticmethod
    def _kept(file: Path, environment: Environment) -> Path:
        kind = "sandbox" if environment.sandboxed else "plain"
        return file.parent / "__pycache__" / f"{file.name}.{sys.implementation.cache_tag}.{kind}.jinja"

    @cached_property
    def _compiler(self) -> str:
        return f"{jinja2.__version__} {sys.version}"


def _options(environment: Environment) -> str:
    """What of an environment its compiled code depends on beside the source."""
    calls = {**environment.filters, **environment.tests}
    passed = sorted((name, str(getattr(call, "jinja_pass_arg", ""))) for name, call in calls.items())
    whitespace = environment.trim_blocks, environment.lstrip_blocks, environment.keep_trailing_newline
    return repr((whitespace, sorted(environment.extensions), sorted(environment.policies.items(), key=str), passed))
