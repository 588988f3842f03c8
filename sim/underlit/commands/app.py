"""`underlit app`: the browser app."""

from __future__ import annotations

import secrets
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from underlit.commands.options import Threads, real, whole
from underlit.commands.shared import Refused, load


def app(
    scene: Path | None = None,
    *,
    host: str = "127.0.0.1",
    port: Annotated[int, whole(1, 65535)] = 8017,
    folder: Path | None = None,
    browser: Annotated[bool, Parameter(negative="--no-browser")] = True,
    threads: Threads = None,
    effort: Annotated[float, real("above 0 and at most 100, such as 0.5", lambda value: 0 < value <= 100)] = 1.0,
) -> None:
    """Open the app in the browser: build a tank, move its lights, and see the light change.

    Parameters
    ----------
    scene
        A scene file (TOML) to begin with. The app works on a copy; the file stays as it is.
    host
        Address to serve on. Any other address than this machine's own lets others on the network in, with the token that
        is printed.
    port
        Port to serve on.
    folder
        Folder for the work of visitors. Default: the user's data folder.
    browser
        Open the page in the browser.
    effort
        Share of the usual photons for fits, suggestions and plant maps. Below 1 they are quicker and less exact.
    """
    if scene is not None:
        load(scene)
    try:
        from underlit.app.server import Endpoint, is_loopback, serve
    except ImportError as problem:
        if (problem.name or "").startswith("underlit"):
            raise
        raise Refused(
            f"no app: {problem.name} is not installed; install it with: pip install 'underlit[app]'"
        ) from None
    from platformdirs import user_data_path

    token = None if is_loopback(host) else secrets.token_urlsafe(24)
    where = Endpoint(host, port, folder or user_data_path("underlit"), token)
    if token is not None:
        print(f"Open to the network on {host}, unencrypted: anyone with this address can work here. Ctrl-C stops it.")
    print(f"underlit is at {where.address}", flush=True)
    serve(where, scene=scene, show=browser, threads=threads, effort=effort)
