"""Static files under addresses that change with their content, so that browsers may keep them."""

from __future__ import annotations

import hashlib
from pathlib import Path

from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

IMMUTABLE = "public, max-age=31536000, immutable"


class StaticTree:
    """A folder of files and the address of each.

    One hash stands for the whole folder: scripts that import their neighbours by a relative path
    stay in the same state of the tree.

    Parameters
    ----------
    folder : Path
        The files; read once, when the app is made.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        files = sorted(path for path in folder.rglob("*") if path.is_file())
        self.names = frozenset(path.relative_to(folder).as_posix() for path in files)
        digest = hashlib.sha256()
        for path in files:
            digest.update(path.relative_to(folder).as_posix().encode() + b"\0" + path.read_bytes())
        self.version = digest.hexdigest()[:16]

    def url(self, name: str) -> str:
        """Return the address of a file.

        Parameters
        ----------
        name : str
            Path in the folder, such as ``css/main.css``.

        Raises
        ------
        FileNotFoundError
            When there is no such file: a mistake of a template.
        """
        if name not in self.names:
            raise FileNotFoundError(f"{self.folder} has no {name}")
        return f"/static/{self.version}/{name}"


class HashedFiles(StaticFiles):
    """Serves a tree: for good under its hash, for one use under the bare name."""

    def __init__(self, tree: StaticTree) -> None:
        super().__init__(directory=tree.folder)
        self._tree = tree

    async def get_response(self, path: str, scope: Scope) -> Response:
        """Return a file with the caching its address allows."""
        version, _, rest = path.partition("/")
        current = version == self._tree.version
        # An address of an earlier release gets today's file, but not for good.
        name = rest if rest and path not in self._tree.names else path
        response = await super().get_response(name, scope)
        response.headers["Cache-Control"] = IMMUTABLE if current else "no-cache"
        return response
