"""``models`` and ``new``: what blocks there are, and what a scene or a model starts from."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Callable
from pathlib import Path

from fixture3d.commands.given import USUAL, read_pattern
from fixture3d.commands.parsing import Commands, add_force, add_pattern
from fixture3d.errors import FixtureError, ModelError, one_line


def add(commands: Commands) -> None:
    """``models`` and ``new``."""
    models = commands.add("models", run_models, "list the models, or the parameters and ranges of one")
    models.add_argument("model", metavar="MODEL", nargs="?")
    add_pattern(models, "unit of the table (default %(default)s)")
    models.add_argument(
        "--test",
        metavar="FOLDER",
        action="append",
        type=Path,
        help="build your own models of this folder at the corners of their ranges and say what is wrong",
    )
    models.add_argument("--html", metavar="FILE", type=Path, help="write them as a page with pictures, for printing")
    add_force(models)

    new = commands.add("new", run_new, "write a small scene file, or a model of your own, to start from", models=False)
    new.add_argument("file", metavar="FILE", nargs="+", help="a scene file; or, for a model: new model NAME.py")
    new.add_argument("--units", choices=("mm", "in"), default="mm")
    add_force(new)


def run_models(options: Namespace) -> int:
    """``models``: all models in a line each, or one in full; or a page with pictures with ``--html``."""
    from fixture3d.catalogue import describe, listing
    from fixture3d.library import library

    if options.test:
        return _test_models(options)
    shop = library([Path(m) for m in options.models])
    pattern = read_pattern(options.table, options.units)
    table = USUAL[options.units][0] if options.table is None else options.table
    if options.html is not None:
        from fixture3d.export.catalogue_page import write_catalogue

        names = [] if options.model is None else [options.model]
        print(
            write_catalogue(
                options.html, shop, pattern, table=table, units=options.units, names=names, force=options.force
            )
        )
    elif options.model is None:
        print(listing(shop), end="")
    else:
        entry = shop.entry(options.model)
        print(describe(entry, pattern, options.units, library=shop, table=table), end="")
    return 0


def _test_models(options: Namespace) -> int:
    """``models --test``: exit code 1 where something is wrong with a model."""
    from fixture3d.corners.endless import not_endless

    with not_endless(options.test) as tell:
        return _tested(options, tell)


def _tested(options: Namespace, tell: Callable[[], None]) -> int:
    """The same; ``tell`` is called after each block."""
    from fixture3d.corners.tried import Tried, in_words, try_model
    from fixture3d.library import library
    from fixture3d.progress import on_terminal

    shop = library([*(Path(m) for m in options.models), *options.test])
    folders = {folder.resolve() for folder in options.test}
    own = [entry for entry in shop.entries.values() if entry.file and Path(entry.file).resolve().parent in folders]
    if options.model is not None:
        shop.entry(options.model)
        own = [entry for entry in own if entry.name == options.model]
    if not own:
        raise ModelError(f"{one_line(str(options.test[0]))}: no model in it; nearest: fixture3d new model NAME.py")
    tried: list[Tried] = []
    with on_terminal("models") as progress:

        def seen(name: str, done: int, total: int) -> None:
            tell()
            progress(name, done, total)

        for entry in own:
            tried.append(try_model(shop, entry, progress=seen))
    print(in_words(tried), end="")
    return 1 if any(one.wrong for one in tried) else 0


def run_new(options: Namespace) -> int:
    """``new``: a small commented scene or model."""
    from fixture3d.output import check_target, write_text
    from fixture3d.starter import model_starter, starter

    *kind, name = options.file
    if not kind and name == "model":
        raise FixtureError("new model: expected new model NAME.py, or new model.toml for a scene")
    if kind == ["model"]:
        from fixture3d.library import library

        check_target(name, options.force, (".py",))
        text = model_starter(Path(name), frozenset(library().entries))
    elif kind:
        raise FixtureError(f'new "{one_line(kind[0])}": expected new FILE for a scene, or new model NAME.py')
    else:
        text = starter(options.units)
    print(write_text(name, text, force=options.force))
    return 0
