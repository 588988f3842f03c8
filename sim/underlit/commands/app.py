"""`underlit app`: the browser app."""

from __future__ import annotations

import secrets
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from underlit.commands.shared import MOST_THREADS, Refused, load, whole_number


def app(
    scene: Path | None = None,
    *,
    host: str = "127.0.0.1",
    port: str = "8017",
    folder: Path | None = None,
    browser: Annotated[bool, Parameter(negative="--no-browser")] = True,
    threads: str | None = None,
    effort: float = 1.0,
) -> None:
    """Serve a page on this machine to build a tank, move its light and watch it answer; open it in the browser.

    Parameters
    ----------
    scene
        A scene file (TOML) to begin with; it stays as it is, the page works on a copy.
    host
        Address to serve on. Any but this machine's own lets others on the network in, with the token that is printed.
    port
        Port to serve on.
    folder
        Where the work of visitors is kept. Default: the user's data folder.
    browser
        Open the page in the browser.
    threads
        Worker threads of the trace (default: all processors).
    effort
        Share of the usual photons for fits, suggestions and plant maps; below 1 they are quicker and less exact.
    """
    number = whole_number("--port", port, 1, 65535) or 0
    workers = whole_number("--threads", threads, 1, MOST_THREADS)
    if not 0 < effort <= 100:
        raise Refused(f"--effort: must be above 0 and at most 100, such as 0.5 (got {effort:g})")
    if scene is not None:
        load(scene)
    try:
        from underlit.app.server import Where, is_loopback, serve
    except ImportError as problem:
        if (problem.name or "").startswith("underlit"):
            raise
        raise Refused(
            f"no app: {problem.name} is not installed; install it with: pip install 'underlit[app]'"
        ) from None
    from platformdirs import user_data_path

    token = None if is_loopback(host) else secrets.token_urlsafe(24)
    where = Where(host, number, folder or user_data_path("underlit"), token)
    if token is not None:
        print(
            f"Serving to the network on {host}: anyone who has this address can work here, unencrypted. Stop with Ctrl-C."
        )
    print(f"underlit is at {where.address}", flush=True)
    serve(where, scene=scene, show=browser, threads=workers, effort=effort)
