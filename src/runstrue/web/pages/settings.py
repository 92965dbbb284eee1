"""What holds for everything at this bench, and how the pages look."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from runstrue.errors import InputError
from runstrue.web.paging import LOOKS, SEEN, Form, Told, acting, bench_of, see_other


def standing(request: Request) -> dict[str, Any]:
    """The settings as they are."""
    from runstrue.cli.fault_bench import Settings, read_settings
    from runstrue.faults.read import knowledge_of_bench

    bench = bench_of(request)
    held = Settings()
    check: tuple[str, ...] = ()
    book = bench.open_if_there()
    if book is not None:
        with book:
            held = read_settings(book)
            if "check" in request.query_params:
                check = book.check() or ("Nothing is wrong with the logbook.",)
    knowledge = knowledge_of_bench(bench.folder)
    return {
        "held": held, "tools": knowledge.tools, "folder": str(bench.folder), "check": check,
        "looks": LOOKS,
    }  # fmt: skip


def change(request: Request, form: Form) -> Told | Response:
    """Keep settings of the bench, or how the pages look in this browser."""
    from runstrue.cli.fault_bench import ALL, NO, OWN_COUNTS, TOOLS, TRAINED, YES, keep_setting
    from runstrue.faults.read import knowledge_of_bench

    if form.has("look"):
        look = form.text("look", 10)
        if look not in LOOKS:
            raise InputError(
                f"The look '{look}' was picked", f"one of {', '.join(LOOKS)} is needed"
            )
        answer = see_other("/settings", "So it looks in this browser.")
        answer.set_cookie(SEEN, look, max_age=365 * 86_400, httponly=True, samesite="strict")
        return answer
    bench = bench_of(request)
    known = knowledge_of_bench(bench.folder).tools
    at_hand = [one for one in form.texts("tool") if one in known]
    keep_setting(bench, TRAINED, YES if form.has("trained") else NO)
    keep_setting(bench, OWN_COUNTS, YES if form.has("own_counts") else NO)
    keep_setting(bench, TOOLS, ALL if len(at_hand) == len(known) else " ".join(sorted(at_hand)))
    return Told("/settings", "Kept.")


ROUTES = acting("/settings", "settings.html", standing, change)
