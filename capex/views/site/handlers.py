"""What answers at the addresses of the studies: pages, and forms that change something.

Every piece of work that reads, writes or appraises runs in a thread, so that the server goes on
answering. A form carries the token that the server asks for, and leads to a page that can be
reloaded. May import: tornado, voila, and from capex errors, study and views.
"""

from __future__ import annotations

import asyncio
import os
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final, TypeVar

import tornado.web
from voila.handler import BaseVoilaHandler

from capex.errors import CapexError, InputError, Problem, StudyError
from capex.study import StudyFile, data_folder
from capex.study.saved_studies import SavedStudies
from capex.study.titled import with_name, without_name
from capex.views.glossary import TERMS
from capex.views.request import named_study
from capex.views.site.comparison import NamedStudy, comparison
from capex.views.site.listing import LIMIT, listing
from capex.views.site.wording import SAID, Trouble, file_name, trouble, when
from capex.views.wording import CAUTIONS

__all__ = ["site_handlers"]

T = TypeVar("T")
_KEY: Final = r"([0-9a-f]{16})"
#: What may stand in an address for a study: a saved one, a version of it, or one that ships.
_NAMED: Final = re.compile(r"[\w-]{1,60}(@[1-9]\d{0,8})?", re.ASCII)


#: Endings of files that hold orders, not a study.
_ORDER_BOOKS: Final = {".csv", ".tsv", ".xlsx", ".xlsm", ".xls", ".ods"}


def studies_folder() -> Path:
    """Return the folder of the studies that come with capex, the demo among them."""
    return data_folder() / "studies"


def _status(error: CapexError) -> tuple[int, str, str]:
    missing = isinstance(error, InputError) and error.field in ("study", "version")
    return (404 if missing else trouble(error).status), "%s", str(error)


def _reason(error: CapexError) -> str:
    """Return a heading that holds no words of a user: it goes into a header of the answer."""
    if isinstance(error, InputError):
        return "No such study" if error.field in ("study", "version") else "This cannot be done"
    return "This study cannot be used" if isinstance(error, StudyError) else trouble(error).title


class _SiteHandler(BaseVoilaHandler):  # type: ignore[misc]
    """What all pages of the site share."""

    async def work(self, work: Callable[..., T], *arguments: Any) -> T:
        """Do the work in a thread; what the user can put right becomes a page that says so."""
        try:
            return await asyncio.to_thread(work, *arguments)
        except CapexError as error:
            raise tornado.web.HTTPError(*_status(error), reason=_reason(error)) from None

    def show(self, template: str, **names: Any) -> None:
        """Answer with a page."""
        self.set_header("Content-Type", "text/html; charset=UTF-8")
        self.set_header("Cache-Control", "no-store")
        said = SAID.get(self.get_query_argument("done", ""), "")
        # The study that was opened last: its address goes along, so that the tabs lead back to it.
        asked = self.get_query_argument("study", "")
        shown = names.pop("study_shown", "") or (asked if _NAMED.fullmatch(asked) else "")
        home = f"{self.base_url}?study={shown}" if shown else self.base_url
        page = self.render_template(
            template, said=said, when=when, cautions=CAUTIONS, study_shown=shown, home=home, **names
        )
        self.finish(page)

    def go(self, address: str) -> None:
        """Lead on after a form."""
        self.redirect(f"{self.base_url}{address}", status=303)

    def attach(self, text: str, name: str) -> None:
        """Answer with a file to keep."""
        self.set_header("Content-Type", "application/toml; charset=UTF-8")
        self.set_header("Content-Disposition", f'attachment; filename="{name}"')
        self.set_header("Cache-Control", "no-store")
        self.finish(text)


class _StudiesHandler(_SiteHandler):
    """The first page: saved studies, the demo, three steps."""

    @tornado.web.authenticated
    async def get(self) -> None:
        await self.first_page()

    async def first_page(self, error: Trouble | None = None) -> None:
        """Show the page, with what went wrong where something did."""
        found = await asyncio.to_thread(listing, studies_folder())
        just_removed = self.get_query_argument("removed", "")
        if error is not None:
            self.set_status(error.status)
        self.show(
            "site/studies.html",
            page_shown="",
            error=error or found.trouble,
            studies=found.studies,
            removed=found.removed,
            drafts=found.drafts,
            damage=found.damage,
            comparable=found.comparable,
            started_with=os.environ.get("CAPEX_STUDY", ""),
            removed_now=next((s.key for s in found.removed if s.key == just_removed), ""),
            demo="quenlow",
            limit=LIMIT,
        )


class _ImportHandler(_StudiesHandler):
    """Saves an uploaded study file as a new study."""

    @tornado.web.authenticated
    async def get(self) -> None:
        self.go("")

    @tornado.web.authenticated
    async def post(self) -> None:
        files = self.request.files.get("file")
        try:
            if not files:
                raise InputError("file", "", "must be named: choose a study file")
            name = self.get_body_argument("name", "")
            await asyncio.to_thread(_imported, files[0]["filename"], files[0]["body"], name)
        except CapexError as error:
            await self.first_page(trouble(error))
        else:
            self.go("?done=saved")


def _imported(file: str, body: bytes, name: str) -> None:
    """Save the bytes of a study file under a name, the shop's own where none is given."""
    source = Path(file).name or "The file"
    if len(body) > LIMIT:
        size = f"{len(body) / 1e6:.1f} MB"
        raise StudyError(source, [Problem("file", size, f"must be at most {LIMIT / 1e6:g} MB")])
    if Path(source).suffix.lower() in _ORDER_BOOKS:
        bound = "is no study; an order book is put in under “Start from my order book” on this page"
        raise StudyError(source, [Problem("file", source, bound)])
    try:
        text = body.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise StudyError(source, [Problem("file", source, "is not UTF-8 text")]) from None
    known, text = without_name(text.replace("\r\n", "\n"))
    found = StudyFile.parsed(text, source)
    called = name.strip() or known or found.study.shop_name[:120]
    SavedStudies().add(called, found.text, f"from {source}")


class _VersionsHandler(_SiteHandler):
    """All versions of one study."""

    @tornado.web.authenticated
    async def get(self, key: str) -> None:
        def read() -> dict[str, Any]:
            saved = SavedStudies()
            return {"study": saved.study(key), "versions": saved.versions(key)}

        found = await self.work(read)
        self.show("site/versions.html", study_shown=key, **found)


class _LatestHandler(_SiteHandler):
    """Which version of a study is the newest, for pages that show it."""

    @tornado.web.authenticated
    async def get(self, key: str) -> None:
        found = await self.work(lambda: SavedStudies().study(key))
        self.set_header("Cache-Control", "no-store")
        self.finish({"name": found.name, "versions": found.versions, "saved": when(found.saved_at)})


class _TextHandler(_SiteHandler):
    """One version as a study file."""

    @tornado.web.authenticated
    async def get(self, key: str, number: str) -> None:
        def read() -> tuple[str, str]:
            saved = SavedStudies()
            return saved.text(key, int(number)), saved.study(key).name

        text, name = await self.work(read)
        self.attach(with_name(text, name), file_name(name, int(number)))


class _ActionHandler(_SiteHandler):
    """Duplicates, renames, removes, brings back, or restores a version."""

    @tornado.web.authenticated
    async def post(self, key: str, action: str) -> None:
        name = self.get_body_argument("name", "")
        number = self.get_body_argument("version", "")
        self.go(await self.work(_done, key, action, name, number))


def _done(key: str, action: str, name: str, number: str) -> str:
    """Change a study and return the address to go on to."""
    saved = SavedStudies()
    if action == "restore":
        if not (number.isdecimal() and len(number) < 10):
            raise InputError("version", number, "must be a whole number from 1")
        saved.restore(key, int(number))
        return f"studies/{key}?done=restored"
    if action == "duplicate":
        saved.duplicate(key, name)
        return f"?done=duplicated&study={key}"
    if action == "rename":
        saved.rename(key, name)
        return f"?done=renamed&study={key}"
    if action == "remove":
        saved.remove(key)
        return f"?done=removed&removed={key}"
    saved.bring_back(key)
    return "?done=back"


class _CompareHandler(_SiteHandler):
    """Two studies, or two versions of one, side by side."""

    @tornado.web.authenticated
    async def get(self) -> None:
        names = [self.get_query_argument(side, "") for side in ("one", "other")]
        if not all(names):
            raise tornado.web.HTTPError(
                400, "Choose them on the page of your studies, or two versions of one study on the "
                "page of its versions.", reason="Two studies are needed to compare",
            )  # fmt: skip
        found = await self.work(lambda: comparison(*(_named(name) for name in names)))
        self.show("site/comparison.html", found=found)


def _named(name: str) -> NamedStudy:
    found = named_study(name, studies_folder())
    if isinstance(found, Path):
        file = StudyFile.read(found)
        return NamedStudy(name, f"{file.study.shop_name} (demo)", file.study)
    key, version = found
    saved = SavedStudies()
    title = f"{saved.study(key).name}, version {version}"
    return NamedStudy(f"{key}@{version}", title, StudyFile.parsed(saved.text(key, version)).study)


class _DiscardHandler(_SiteHandler):
    """Forgets the unsaved work of a closed page."""

    @tornado.web.authenticated
    async def post(self) -> None:
        page = self.get_body_argument("page")
        await self.work(lambda: SavedStudies().drop(page))
        self.go("?done=discarded")


class _DraftHandler(_SiteHandler):
    """The unsaved work of a closed page as a file."""

    @tornado.web.authenticated
    async def get(self) -> None:
        page = self.get_query_argument("page")
        drafts = await self.work(lambda: SavedStudies().drafts())
        text = next((draft.text for draft in drafts if draft.page == page), None)
        if text is None:
            raise tornado.web.HTTPError(
                404, "It was saved or discarded meanwhile.", reason="No such unsaved work"
            )
        self.attach(text, file_name("unsaved work"))


class _TermsHandler(_SiteHandler):
    """All terms, explained: as a page, and as what the other pages read."""

    @tornado.web.authenticated
    async def get(self, as_data: str | None) -> None:
        if as_data:
            self.set_header("Cache-Control", "private, max-age=3600")
            self.finish({"terms": [term._asdict() for term in TERMS]})
        else:
            self.show("site/terms.html", page_shown="terms", terms=TERMS)


def site_handlers(own: dict[str, Any]) -> list[tuple[str, type, dict[str, Any]]]:
    """Return addresses and what answers there.

    Parameters
    ----------
    own : dict
        What Voilà's handlers are made with: ``voila_configuration``.
    """
    actions = "duplicate|rename|remove|bring_back|restore"
    handlers: list[tuple[str, type]] = [
        (r"/", _StudiesHandler),
        (r"/compare", _CompareHandler),
        (r"/terms(\.json)?", _TermsHandler),
        (r"/studies/import", _ImportHandler),
        (rf"/studies/{_KEY}", _VersionsHandler),
        (rf"/studies/{_KEY}/latest", _LatestHandler),
        (rf"/studies/{_KEY}/([1-9]\d{{0,8}})\.toml", _TextHandler),
        (rf"/studies/{_KEY}/({actions})", _ActionHandler),
        (r"/drafts/discard", _DiscardHandler),
        (r"/drafts/text", _DraftHandler),
    ]
    return [(address, handler, own) for address, handler in handlers]
