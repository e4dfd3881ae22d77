"""A page as a response: its template, its language, and what it may load."""

from __future__ import annotations

from flask import Response, make_response, render_template

#: Nothing is loaded from another host, nothing runs inline, nothing is framed.
CONTENT_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; "
    "connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)
#: The reader of symbols is compiled code; only pages with a camera may run it.
CAMERA_POLICY = (
    CONTENT_POLICY.replace("script-src 'self'", "script-src 'self' 'wasm-unsafe-eval'")
    + "; media-src 'self' blob:"
)


def page(template: str, status: int = 200, *, wasm: bool = False, **values: object) -> Response:
    """A page as a response.

    Args:
        template: Its name.
        status: Its status.
        wasm: Whether it carries the camera.
        values: What the template shows.
    """
    response = make_response(render_template(template, **values), status)
    if wasm:
        response.headers["Content-Security-Policy"] = CAMERA_POLICY
    return response
