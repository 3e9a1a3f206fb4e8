"""Wires the parts: settings in, app out. The only module of the web that names the store."""

from __future__ import annotations

from functools import partial

from fastapi import FastAPI

from server.catalog.tables import load_catalog
from server.fit import advice
from server.fit.inquiry import InquiryIn, to_requirements
from server.fit.ports import Engine
from server.paths import Folder, folder
from server.quoting.desk.delivery import Outbox
from server.store.advices import SqlAdviceStore
from server.store.catalogs import Origin, SqlCatalogStore
from server.store.engine import Database, open_engine
from server.store.inquiries import SqlInquiryBox
from server.store.migrate import migrate
from server.store.outbox import SqlOutbox
from server.store.quote_desk import SqlQuoteDesk
from server.store.share_links import SqlShareLinks
from server.web.build import build_app
from server.web.deps import Services
from server.web.examples import EXAMPLES
from server.web.outgoing.courier import Courier
from server.web.settings import Settings, settings_of_environment
from server.web.turns import InTurns

DATABASE_FILE = "pumpwright.sqlite3"


def production() -> FastAPI:
    """Return the app for ``uvicorn --factory server.web.app:production``."""
    return create_app(settings_of_environment(), warm=True)


def create_app(settings: Settings, engine: Engine | None = None, *, warm: bool = False) -> FastAPI:
    """Return the app on the database of the data folder, filled on its first start.

    Parameters
    ----------
    settings : Settings
        Address, data folder, catalogue.
    engine : Engine or None
        Judges stacks; None takes the real one.
    warm : bool
        Answer an inquiry in the background once the server has started, so that the first user
        does not wait for what is loaded and tabulated when it is first used.

    Raises
    ------
    InvalidCatalog
        When the catalogue breaks physics or sense.
    """
    settings.data_dir.mkdir(parents=True, exist_ok=True)
    database = Database(open_engine(settings.data_dir / DATABASE_FILE))
    migrate(database.engine)
    catalogs = SqlCatalogStore(database, load_catalog)
    own = settings.catalog_dir
    catalogs.fill(own or folder(Folder.CATALOG_DEMO), Origin.FOLDER if own else Origin.DEMO)
    outbox = SqlOutbox(database)
    services = Services(
        engine=InTurns(engine or advice),
        advices=SqlAdviceStore(database),
        catalogs=catalogs,
        outbox=outbox,
        desk=SqlQuoteDesk(database),
        inquiries=SqlInquiryBox(database),
        links=SqlShareLinks(database),
    )
    return build_app(
        settings,
        services,
        at_end=database.close,
        after_start=partial(answer_an_example, services) if warm else None,
        workers=couriers(settings, outbox),
    )


def answer_an_example(services: Services) -> None:
    """Use everything that an answer uses once; nothing is kept."""
    catalog = services.catalogs.current()
    example = InquiryIn.model_validate(next(iter(EXAMPLES.values())))
    services.engine.advise(to_requirements(example, currency=catalog.currency), catalog)


def couriers(settings: Settings, outbox: Outbox) -> list[Courier]:
    """Return what delivers events: nothing where no target is set, and events wait for one."""
    if settings.webhook is None:
        return []
    from server.web.outgoing.post import post  # its client is loaded where it is needed alone

    return [Courier(outbox, partial(post, settings.webhook))]
