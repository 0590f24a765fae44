"""Where secrets and trust come from; nothing of them is ever printed or kept."""

from __future__ import annotations

import os
import ssl
import sys
from getpass import getpass
from pathlib import Path

from noctuary.publish.upload.connection import UploadError

PASSWORD = "NOCTUARY_UPLOAD_PASSWORD"
#: The name under which a keyring holds passwords for uploads.
SERVICE = "noctuary"
_BUNDLES = ("SSL_CERT_FILE", "REQUESTS_CA_BUNDLE")


def certificates() -> str | None:
    """The file of certificates that the environment names, if any; raises :class:`UploadError`."""
    for name in _BUNDLES:
        if file := os.environ.get(name):
            if not Path(file).exists():
                raise UploadError(f"{name} names {file}, which is not there", "correct it, or take it out")
            return file
    return None


def trust() -> ssl.SSLContext:
    """How a server's certificate is checked: against what the environment names, else the system's; always.

    Raises :class:`UploadError`.
    """
    file = certificates()
    try:
        if file is not None and Path(file).is_dir():
            return ssl.create_default_context(capath=file)
        context = ssl.create_default_context(cafile=file)
    except (OSError, ssl.SSLError) as error:
        raise UploadError(f"the certificates in {file} cannot be read: {error}", "correct that file") from None
    if file is None and not context.cert_store_stats()["x509_ca"] and not _system_folder():
        # A Python that came without the system's certificates, as some installers' do.
        try:
            import certifi
        except ImportError:
            return context
        context.load_verify_locations(certifi.where())
    return context


def _system_folder() -> bool:
    folder = ssl.get_default_verify_paths().capath
    return folder is not None and any(Path(folder).glob("*"))


def password(user: str, host: str) -> str | None:
    """The password for a user of a host: from the environment, the keyring, or the person at a terminal."""
    return kept_password(user, host) or _asked(user, host)


def kept_password(user: str, host: str) -> str | None:
    """The password from the environment or the keyring, if it is there."""
    if given := os.environ.get(PASSWORD):
        return given
    try:
        import keyring
    except ImportError:
        return None
    try:
        return keyring.get_password(SERVICE, f"{user}@{host}")
    except Exception:  # a keyring that is locked, or of a desktop that is not there
        return None


def no_password(user: str, host: str) -> UploadError:
    """What to say where a password is needed and nobody gives one."""
    return UploadError(
        f"there is no password for {user}@{host}",
        f"keep it with: keyring set {SERVICE} {user}@{host}, or give it in the environment as {PASSWORD}",
    )


def _asked(user: str, host: str) -> str | None:
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        return None
    return getpass(f"Password of {user}@{host}: ", stream=sys.stderr) or None
