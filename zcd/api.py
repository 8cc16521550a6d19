"""What `import zcd` offers: a board, and the questions that can be asked about it.

Commands, page and notebooks ask the same functions. Quantities are text as a person writes it
(``"207 V"``, ``"60 °C"``, ``"80 %"``) or numbers in SI units (temperatures in °C).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from functools import wraps
from inspect import signature
from pathlib import Path
from typing import TYPE_CHECKING, ParamSpec, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from zcd.arguments import STORY_SECONDS, require_kinds, require_range
from zcd.board import quantity_kinds
from zcd.board.files import load_board, parse_board
from zcd.board.model import Board
from zcd.board.units import QuantityKind, parse_quantity
from zcd.circuit.build import Conditions, build_circuit
from zcd.errors import InputError, invalid_value
from zcd.progress import ProgressBar, no_bar
from zcd.results import Picture
from zcd.sync.solved import Solved

if TYPE_CHECKING:
    from zcd.board.drawer import Drawer
    from zcd.diagnosis.capture_measurements import Traces
    from zcd.diagnosis.case import Case, ExpectedReadings
    from zcd.diagnosis.job import Job
    from zcd.diagnosis.job_history import FaultStatistics
    from zcd.diagnosis.meters import Meter
    from zcd.diagnosis.readings import Measured
    from zcd.diagnosis.retest import Retest
    from zcd.margin.check import Check
    from zcd.margin.loss_map import LossMap
    from zcd.margin.population import Population
    from zcd.margin.sensitivity import Sensitivity
    from zcd.simulation.drive_parts import Replacements
    from zcd.simulation.flags import CausesForFlags
    from zcd.simulation.timeline import Story
    from zcd.simulation.windings import Windings
    from zcd.spice.compare import Comparison

Amounts = str | ArrayLike
P = ParamSpec("P")
R = TypeVar("R")
LARGEST_SEED = 2**63 - 1


def _public(function: Callable[P, R]) -> Callable[P, R]:
    """A function whose arguments are looked at before it begins."""
    known = signature(function)

    @wraps(function)
    def asked(*args: P.args, **kwargs: P.kwargs) -> R:
        require_kinds(known, known.bind(*args, **kwargs).arguments)
        return function(*args, **kwargs)

    return asked


@_public
def load(path: str | Path) -> Board:
    """Read a board file.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    board : Board
        Complete; `assumptions` lists what the file does not say.

    Raises
    ------
    InputError
        If the file cannot be read, or does not describe a board; one line for each problem.

    Examples
    --------
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> import zcd
    >>> with TemporaryDirectory() as folder:
    ...     path = Path(folder, "steamer.toml")
    ...     _ = path.write_text('''
    ... mains = "230 V 50 Hz"
    ... rectifier = "1N4007"
    ... optocoupler = "817C"
    ... chain.resistors = ["68k", "68k"]
    ... output = {pull_up = "10k", supply = "5 V"}
    ... ''', encoding="utf-8")
    ...     zcd.load(path)
    <Board: steamer; half-wave, 230 V 50 Hz>
    """
    return load_board(path)


@_public
def loads(text: str, name: str = "board") -> Board:
    """Make a board from the text of a board file.

    Parameters
    ----------
    text : str
        TOML.
    name : str
        Of the board where the text gives none.

    Returns
    -------
    board : Board

    Raises
    ------
    InputError
        If it does not describe a board; one line for each problem.

    Examples
    --------
    >>> import zcd
    >>> board = zcd.loads('''
    ... mains = "230 V 50 Hz"
    ... rectifier = "1N4007"
    ... optocoupler = "817C"
    ... chain.resistors = ["68k", "68k"]
    ... output = {pull_up = "10k", supply = "5 V"}
    ... ''')
    >>> [part.ref for part in board.chains[0]], board.mains.low_rms_v
    (['R1', 'R2'], 207.0)
    """
    return parse_board(text, f"{name}.toml")


@_public
def solve(
    board: Board,
    *,
    mains: Amounts | None = None,
    temperature: Amounts | None = None,
    ctr: Amounts | None = None,
    fault: str = "healthy",
    severity: float = 0.5,
) -> Solved:
    """Solve one mains period of a board; arrays are solved as one batch.

    Parameters
    ----------
    board : Board
    mains : str, float or array_like of shape (n,), optional
        Rms voltage. [V]
    temperature : str, float or array_like of shape (n,), optional
        Ambient. [°C]
    ctr : str, float or array_like of shape (n,), optional
        At the data sheet's test current, new: ``"130 %"``, or 1.3. [1]
    fault : str
        A fault put in, such as ``"R2 open"``.
    severity : float
        How far it has gone, 0 to 1.

    Returns
    -------
    solved : Solved

    Raises
    ------
    InputError
        If a quantity cannot be read, or there is no such fault.

    Examples
    --------
    >>> import zcd
    >>> board = zcd.loads('''
    ... mains = "230 V 50 Hz"
    ... rectifier = "1N4007"
    ... optocoupler = "817C"
    ... chain.resistors = ["68k", "68k"]
    ... output = {pull_up = "10k", supply = "5 V"}
    ... ''')
    >>> solved = zcd.solve(board, mains=[207.0, 230.0, 253.0])
    >>> solved.voltage("pin", "logic0").shape[0], bool(solved.locks.all())
    (3, True)
    >>> zcd.solve(board, fault="R2 open").edges
    ()
    """
    from zcd.diagnosis.faults import with_fault
    from zcd.engine.solve import solve as solve_circuit
    from zcd.sync.lock import judge

    conditions = Conditions(
        mains_rms_v=_amounts(mains, quantity_kinds.MAINS_VOLTAGE),
        temperature_degc=_amounts(temperature, quantity_kinds.TEMPERATURE),
        ctr_ratio=_amounts(ctr, quantity_kinds.CTR),
    )
    _require_as_many(conditions)
    require_range("severity", severity, 0.0, 1.0)
    _, circuit = with_fault(build_circuit(board, conditions), fault, severity)
    solution = solve_circuit(circuit)
    return Solved(board=board, solution=solution, lock=judge(solution, board))


@_public
def draw(board: Board, fault: str | None = None) -> Picture:
    """Draw the circuit diagram of a board.

    Parameters
    ----------
    board : Board
    fault : str, optional
        A fault to be marked, such as ``"R2 open"``.

    Returns
    -------
    picture : Picture
        A notebook shows it; `save` writes PNG or SVG.

    Raises
    ------
    InputError
        If there is no such fault.

    Examples
    --------
    >>> import zcd
    >>> board = zcd.loads('''
    ... mains = "230 V 50 Hz"
    ... rectifier = "1N4007"
    ... optocoupler = "817C"
    ... chain.resistors = ["68k", "68k"]
    ... output = {pull_up = "10k", supply = "5 V"}
    ... ''')
    >>> zcd.draw(board, fault="R2 open")
    <Picture: schematic, 6.3 x 3.7 in>
    """
    from zcd.diagnosis.faults import with_fault
    from zcd.diagnosis.rank import Ranked
    from zcd.drawing.named_figures import board_picture

    if fault is None:
        return Picture(board_picture(board))
    chosen, _ = with_fault(build_circuit(board), fault, 0.5)
    return Picture(board_picture(board, Ranked(fault=chosen, probability=1.0)))


@_public
def check(board: Board, *, outlook: bool = False, was: Board | None = None) -> Check:
    """Judge a board by every rule, its worst corners and a population of its kind.

    Parameters
    ----------
    board : Board
    outlook : bool
        Also find what makes the CTR reserve differ from board to board, and the margin over the
        years: takes seconds. The check then has the tables and pictures ``shares`` and ``years``.
    was : Board, optional
        The board before its repair, as it was built: the check then also says whether the repair
        is as good as new, and what the original breaks too is no more than a warning.

    Returns
    -------
    check : Check
        `passes` is the verdict, the same as the command's exit status.

    Raises
    ------
    InputError
        If `was` cannot be the same board before its repair.

    Examples
    --------
    >>> import zcd
    >>> board = zcd.loads('''
    ... mains = "230 V 50 Hz"
    ... rectifier = "1N4007"
    ... optocoupler = "817B"
    ... chain = {resistors = ["47k", "47k"], style = "1/2 W"}
    ... output = {pull_up = "15k", supply = "5 V"}
    ... ''')
    >>> zcd.check(board).passes
    True
    >>> zcd.check(board.with_(R1="680k")).passes
    False
    """
    from zcd.margin.check import nominal_check
    from zcd.margin.spread import with_spread

    if was is not None:
        from zcd.margin.as_new import require_same_kind

        require_same_kind(board, was)
    result = with_spread(nominal_check(board))
    if outlook:
        from zcd.margin.outlook import with_outlook

        result = with_outlook(result)
    if was is not None:
        from zcd.margin.as_new import with_grade_of, with_original

        original = with_grade_of(was, board)
        result = with_original(result, result if original == board else check(original))
    return result


@_public
def population(board: Board, size: int = 1024, *, seed: int | None = None) -> Population:
    """Judge boards drawn within all tolerances.

    Parameters
    ----------
    board : Board
    size : int
        Number of boards, 8 or more; what goes beyond a multiple of 8 is left out.
    seed : int, optional

    Returns
    -------
    population : Population
        `failing` is the share that fails, with its interval.

    Raises
    ------
    InputError
        If there are too few boards, or the seed is no number of this size.

    Examples
    --------
    >>> import zcd
    >>> board = zcd.loads('''
    ... mains = "230 V 50 Hz"
    ... rectifier = "1N4007"
    ... optocoupler = "817C"
    ... chain.resistors = ["68k", "68k"]
    ... output = {pull_up = "10k", supply = "5 V"}
    ... ''')
    >>> found = zcd.population(board, 64)
    >>> found.size, found.failing.ratio, round(found.failing.high_ratio, 3)
    (64, 0.0, 0.046)
    """
    from zcd.margin.population import RUNS, SEED, draw_population
    from zcd.margin.tolerances import tolerances_of

    require_range("size", size, RUNS)
    require_range("seed", seed or 0, 0, LARGEST_SEED)
    return draw_population(
        board,
        tolerances_of(board),
        per_run=size // RUNS,
        seed=SEED if seed is None else seed,
    )


@_public
def sensitivity(board: Board) -> Sensitivity:
    """Find what makes the CTR reserve differ from board to board.

    Parameters
    ----------
    board : Board

    Returns
    -------
    sensitivity : Sensitivity
        Shares of the variance of the headroom's logarithm, each with its interval.

    Raises
    ------
    InputError
        If it is given no board.

    Examples
    --------
    >>> import zcd
    >>> board = zcd.loads('''
    ... mains = "230 V 50 Hz"
    ... rectifier = "1N4007"
    ... optocoupler = "817C"
    ... chain.resistors = ["68k", "68k"]
    ... output = {pull_up = "10k", supply = "5 V"}
    ... ''')
    >>> zcd.sensitivity(board).names[0]
    'CTR of OC1'
    """
    from zcd.margin.sensitivity import sensitivity_of
    from zcd.margin.tolerances import tolerances_of

    return sensitivity_of(board, tolerances_of(board))


@_public
def loss_map(
    board: Board,
    across: str = "mains",
    up: str | None = None,
    *,
    progress: ProgressBar = no_bar,
) -> LossMap:
    """Find where sync is lost over two quantities of a board.

    Parameters
    ----------
    board : Board
    across, up : str
        Quantities, such as ``mains``, ``ctr``, ``temperature``, ``chain``, or a resistor. Up by
        default ``ctr``, or ``chain`` on a board without an optocoupler.
    progress : callable
        Such as `zcd.progress.progress_bar`.

    Returns
    -------
    loss_map : LossMap

    Raises
    ------
    InputError
        If the board has no such quantity.

    Examples
    --------
    >>> import zcd
    >>> board = zcd.loads('''
    ... mains = "230 V 50 Hz"
    ... rectifier = "1N4007"
    ... optocoupler = "817C"
    ... chain.resistors = ["68k", "68k"]
    ... output = {pull_up = "10k", supply = "5 V"}
    ... ''')
    >>> found = zcd.loss_map(board, "mains", "chain")
    >>> found.locks, found.reach_up.rule_above
    (True, 'pin never low')
    """
    from zcd.margin.loss_map import loss_map as find_map
    from zcd.margin.loss_share import loss_share

    with progress(2) as begin:
        begin("searching where sync is lost")
        result = find_map(board, across, up)
        begin("drawing boards within tolerance")
        return replace(result, share=loss_share(board, result))


@_public
def readings(
    board: Board, meter: Meter | None = None, *, progress: ProgressBar = no_bar
) -> ExpectedReadings:
    """List what a meter reads on a good board and with each fault.

    Parameters
    ----------
    board : Board
    meter : Meter, optional
        By default a usual handheld one.
    progress : callable
        Such as `zcd.progress.progress_bar`.

    Returns
    -------
    readings : ExpectedReadings

    Raises
    ------
    InputError
        If it is given no board or meter.

    Examples
    --------
    >>> import zcd
    >>> board = zcd.loads('''
    ... mains = "230 V 50 Hz"
    ... rectifier = "1N4007"
    ... optocoupler = "817C"
    ... chain.resistors = ["68k", "68k"]
    ... output = {pull_up = "10k", supply = "5 V"}
    ... ''')
    >>> first = zcd.readings(board).lines[0]
    >>> first.reading.words, "R1 open" in first.faults
    ('ohms, line to chain.2', True)
    """
    from zcd.diagnosis.case import ExpectedReadings
    from zcd.diagnosis.expected_readings import list_expected_readings
    from zcd.diagnosis.fault_dictionary import make_fault_dictionary
    from zcd.diagnosis.meters import usual_meter

    dictionary = make_fault_dictionary(board, meter or usual_meter(), stored=True)
    with progress(len(dictionary.readings)) as begin:
        lines = list_expected_readings(dictionary, begin)
    dictionary.keep()
    return ExpectedReadings(
        board=board, circuit=dictionary.circuit, meter=dictionary.meter, lines=lines
    )


@_public
def diagnose(
    about: Board | Job,
    *taken: str | Measured,
    flags: Collection[str] = (),
    meter: Meter | None = None,
    history: str | Path | None = None,
    progress: ProgressBar = no_bar,
) -> Case:
    """Find the fault that explains readings, and the reading to take next.

    Parameters
    ----------
    about : Board or Job
        A job brings its own readings, flags and meter.
    taken : str or Measured
        Readings, such as ``"dc pin logic0 4.21 V"`` or ``"ohm R2 OL"``.
    flags : collection of str
        What the controller reports: ``sync``, ``fan``, or ``none``.
    meter : Meter, optional
    history : str or Path, optional
        A folder: its closed jobs shift what is likely before any reading, as in the command,
        which takes the folder of the file that it is given.
    progress : callable
        Such as `zcd.progress.progress_bar`.

    Returns
    -------
    case : Case
        `ranked` faults, `next_reading`; `add` goes on with more readings.

    Raises
    ------
    InputError
        If a reading or flag cannot be read, or there is no such folder.

    Examples
    --------
    >>> import zcd
    >>> board = zcd.loads('''
    ... mains = "230 V 50 Hz"
    ... rectifier = "1N4007"
    ... optocoupler = "817C"
    ... chain.resistors = ["68k", "68k"]
    ... output = {pull_up = "10k", supply = "5 V"}
    ... ''')
    >>> case = zcd.diagnose(board, "ohm R2 OL", flags=["sync", "fan"])
    >>> case.ranked[0].key
    'R2 open'
    """
    from zcd.diagnosis.case import Case

    job = _job_of(about, taken, flags, meter)
    return Case.of(job, _statistics_of(job, history), progress=progress)


def _job_of(
    about: Board | Job,
    taken: Sequence[str | Measured],
    flags: Collection[str],
    meter: Meter | None,
) -> Job:
    """A job with more readings, other flags or meter; a board begins one with the usual meter."""
    from zcd.diagnosis.job import Job
    from zcd.diagnosis.meters import usual_meter
    from zcd.diagnosis.reading_syntax import as_measured
    from zcd.jobs.conversation import parse_flags

    job = about if isinstance(about, Job) else Job(board=about, meter=usual_meter())
    if flags:
        seen, codes = parse_flags(tuple(flags), job.codes)
        job = replace(job, flags=seen, codes=codes)
    log = job.log + as_measured(taken, build_circuit(job.board))
    return replace(job, log=log, meter=meter or job.meter)


def _statistics_of(job: Job, history: str | Path | None) -> FaultStatistics | None:
    """What the closed jobs of a folder say."""
    from zcd.diagnosis.job_history import fault_statistics_in

    return None if history is None else fault_statistics_in(history, job)


@_public
def retest(
    about: Board | Job,
    *taken: str | Measured,
    before: Job | Sequence[Measured] = (),
    flags: Collection[str] = (),
    meter: Meter | None = None,
    progress: ProgressBar = no_bar,
) -> Retest:
    """Judge readings that were taken after a repair.

    Parameters
    ----------
    about : Board or Job
        The board as it is after the repair.
    taken : str or Measured
    before : Job or sequence of Measured
        The job before the repair, or its readings, to be told which were not repeated.
    flags : collection of str
        What the controller reports after the repair: ``sync``, ``fan``, or ``none``.
    meter : Meter, optional
    progress : callable
        Such as `zcd.progress.progress_bar`.

    Returns
    -------
    retest : Retest
        `good` is the verdict.

    Raises
    ------
    InputError
        If there is no reading, or one cannot be read.

    Examples
    --------
    >>> import zcd
    >>> board = zcd.loads('''
    ... mains = "230 V 50 Hz"
    ... rectifier = "1N4007"
    ... optocoupler = "817C"
    ... chain.resistors = ["68k", "68k"]
    ... output = {pull_up = "10k", supply = "5 V"}
    ... ''')
    >>> result = zcd.retest(board, "ohm R2 68k", "diode led+ led- 1.1 V")
    >>> result.good, [again.good for again in result.readings]
    (False, [True, True])
    >>> result.missing[0].words
    'DC volts, pin to logic0'
    """
    from zcd.diagnosis.fault_dictionary import make_fault_dictionary
    from zcd.diagnosis.job import Job
    from zcd.diagnosis.retest import require_reading
    from zcd.diagnosis.retest import retest as judge_again

    job = _job_of(about, taken, flags, meter)
    require_reading(job.measured)
    earlier, flags_before = (
        (before.measured, before.flags) if isinstance(before, Job) else (before, ())
    )
    dictionary = make_fault_dictionary(job.board, job.meter, stored=True)
    with progress(len(job.measured)) as begin:
        result = judge_again(dictionary, job.measured, earlier, job.flags, begin)
    dictionary.keep()
    return replace(result, flags_before=tuple(flags_before))


@_public
def substitute(
    board: Board,
    drawer: Drawer | str | Path | None = None,
    *,
    refs: Sequence[str] = (),
    others: bool = False,
) -> Replacements:
    """Find replacement parts, those first that an experienced colleague would fit.

    Parameters
    ----------
    board : Board
    drawer : Drawer, str or Path, optional
        Parts in stock, or a drawer file; by default E24, the printed values and the parts of the
        tables.
    refs : sequence of str
        Parts to be replaced; none: every part in turn.
    others : bool
        Also propose parts with which the pulse, a rating or the isolation changes.

    Returns
    -------
    replacements : Replacements

    Raises
    ------
    InputError
        If there is no such part, or the drawer file cannot be used.

    Examples
    --------
    >>> import zcd
    >>> board = zcd.loads('''
    ... mains = "230 V 50 Hz"
    ... rectifier = "1N4007"
    ... optocoupler = "817C"
    ... chain.resistors = ["68k", "68k"]
    ... output = {pull_up = "10k", supply = "5 V"}
    ... ''')
    >>> result = zcd.substitute(board, refs=["R2"])
    >>> result.all_found, result.table("chain").to_dicts()[0]["part"]
    (True, '68 kΩ 1/2 W')
    """
    from zcd.board.drawer import load_drawer
    from zcd.simulation.drive_parts import replacements
    from zcd.substitutes.search import usual_drawer

    if drawer is None:
        drawer = usual_drawer(board)
    elif isinstance(drawer, str | Path):
        drawer = load_drawer(drawer)
    return replacements(board, drawer, refs, others=others)


@_public
def loads_drawer(text: str, name: str = "drawer") -> Drawer:
    """List the parts in stock from the text of a drawer file.

    Parameters
    ----------
    text : str
        TOML.
    name : str
        Of the drawer.

    Returns
    -------
    drawer : Drawer
        For `substitute`.

    Raises
    ------
    InputError
        If it does not describe a drawer; one line for each problem.

    Examples
    --------
    >>> import zcd
    >>> drawer = zcd.loads_drawer('resistors = ["82k", {values = ["27k", "33k"], count = 2}]')
    >>> [item.part.resistance_ohm for item in drawer.resistors]
    [27000.0, 33000.0, 82000.0]
    """
    from zcd.board.drawer import parse_drawer

    return parse_drawer(text, f"{name}.toml")


@_public
def windings(
    *readings: str,
    pins: Sequence[str] = (),
    board: Sequence[str] = (),
    capacitor: str | None = None,
    marking: str | None = None,
    capacitor_tolerance: str = "10 %",
    accuracy: str | None = None,
) -> Windings:
    """Name the leads of a capacitor motor before it is connected, and check its connector.

    Measure with the motor unplugged.

    Parameters
    ----------
    readings : str
        Resistance between each two leads, and from each lead to the frame: ``"blue-grey=126"``,
        ``"blue-frame=OL"``.
    pins : sequence of str
        Pin of the motor's connector that each lead is in, such as ``"blue=1"``.
    board : sequence of str
        What each pin of the board's connector is for, such as ``"1=run"``.
    capacitor, marking : str, optional
        The run capacitor as measured, and the value printed on it.
    capacitor_tolerance : str
    accuracy : str, optional
        Of the meter on ohms; by default 1.5 %.

    Returns
    -------
    windings : Windings
        `safe` is the verdict.

    Raises
    ------
    InputError
        If something is not understood, missing, or there twice.

    Examples
    --------
    >>> import zcd
    >>> found = zcd.windings("red-black=210", "black-white=350", "red-white=558")
    >>> found.verdict.roles["black"], found.safe
    (<Role.COMMON: 'common'>, False)
    """
    from zcd.report.of_windings import parse_measured
    from zcd.simulation.windings import Windings, name_leads

    measured = parse_measured(
        readings=readings,
        pins=pins,
        board=board,
        capacitor=capacitor,
        marking=marking,
        capacitor_tolerance=capacitor_tolerance,
        accuracy=accuracy,
    )
    return Windings(measured=measured, verdict=name_leads(measured))


@_public
def story(board: Board, cause: str, *, amount: float | None = None, seconds: float = 60.0) -> Story:
    """Follow controller, drive and fan from switching on, with one cause at work.

    Parameters
    ----------
    board : Board
    cause : str
        Such as ``"R1 open"`` or ``"tacho lost"``.
    amount : float, optional
        Its size, in the cause's own unit.
    seconds : float
        Length of the simulated time. [s]

    Returns
    -------
    story : Story

    Raises
    ------
    InputError
        If there is no such cause.

    Examples
    --------
    >>> import zcd
    >>> board = zcd.loads('''
    ... mains = "230 V 50 Hz"
    ... rectifier = "1N4007"
    ... optocoupler = "817C"
    ... chain.resistors = ["68k", "68k"]
    ... output = {pull_up = "10k", supply = "5 V"}
    ... ''')
    >>> list(zcd.story(board, "R2 open", seconds=20.0).flags)
    ['sync', 'fan']
    """
    from zcd.simulation.causes import find_cause, of_amount
    from zcd.simulation.timeline import stories_of

    require_range("seconds", seconds, *STORY_SECONDS)
    chosen = find_cause(board, cause)
    if amount is not None:
        chosen = of_amount(chosen, amount)
    return stories_of(board, [chosen], seconds)[0]


@_public
def causes(
    about: Board | Job,
    flags: Collection[str],
    *,
    seconds: float = 60.0,
    history: str | Path | None = None,
    progress: ProgressBar = no_bar,
) -> CausesForFlags:
    """Find the causes that raise just these flags, and the reading that tells their sides apart.

    Parameters
    ----------
    about : Board or Job
        A job brings its own meter.
    flags : collection of str
        ``sync``, ``fan``; ``none``, or none: no flag.
    seconds : float
        Length of the simulated time. [s]
    history : str or Path, optional
        A folder: its closed jobs shift what is likely, as in `diagnose`.
    progress : callable
        Such as `zcd.progress.progress_bar`.

    Returns
    -------
    causes : CausesForFlags

    Raises
    ------
    InputError
        If there is no such flag or folder, or the time is out of range.

    Examples
    --------
    >>> import zcd
    >>> board = zcd.loads('''
    ... mains = "230 V 50 Hz"
    ... rectifier = "1N4007"
    ... optocoupler = "817C"
    ... chain.resistors = ["68k", "68k"]
    ... output = {pull_up = "10k", supply = "5 V"}
    ... ''')
    >>> found = zcd.causes(board, ["sync", "fan"], seconds=20.0)
    >>> "R2 open" in [fit.cause.key for fit in found.fits]
    True
    """
    from zcd.diagnosis.flag_evidence import NO_FLAG
    from zcd.diagnosis.readings import useful_readings
    from zcd.simulation.flags import causes_for_flags

    require_range("seconds", seconds, *STORY_SECONDS)
    job = _job_of(about, (), flags, None)
    seen = {*job.flags} - {NO_FLAG} if flags else ()
    with progress(len(useful_readings(job.board, build_circuit(job.board)))) as begin:
        return causes_for_flags(
            job.board,
            seen,
            seconds,
            meter=job.meter,
            statistics=_statistics_of(job, history),
            progress=begin,
        )


@_public
def capture(path: str | Path, board: Board) -> Traces:
    """Read an oscilloscope's capture of the pin, and of the mains where there is a channel of it.

    Parameters
    ----------
    path : str or Path
        CSV: time, and one or two channels.
    board : Board

    Returns
    -------
    traces : Traces

    Raises
    ------
    InputError
        If the file cannot be read as one.

    Examples
    --------
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> import numpy as np
    >>> import zcd
    >>> board = zcd.loads('''
    ... mains = "230 V 50 Hz"
    ... rectifier = "1N4007"
    ... optocoupler = "817C"
    ... chain.resistors = ["68k", "68k"]
    ... output = {pull_up = "10k", supply = "5 V"}
    ... ''')
    >>> time_s = np.arange(0.0, 0.06, 1e-5)
    >>> solved = zcd.solve(board)
    >>> pin_v = np.interp(time_s % 0.02, solved.time_s, solved.voltage("pin", "logic0"))
    >>> with TemporaryDirectory() as folder:
    ...     path = Path(folder, "scope.csv")
    ...     np.savetxt(path, np.transpose([time_s, pin_v]), header="time (s), pin (V)")
    ...     traces = zcd.capture(path, board)
    >>> traces.good, zcd.diagnose(board, *traces.readings).ranked[0].key
    (True, 'healthy')
    """
    from zcd.diagnosis.capture import load_capture
    from zcd.diagnosis.capture_measurements import find_traces

    return find_traces(load_capture(path), board)


@_public
def compare_spice(
    board: Board,
    *,
    fault: str = "healthy",
    severity: float = 0.5,
    readings: Sequence[str] = (),
    meter: Meter | None = None,
    progress: ProgressBar = no_bar,
) -> Comparison:
    """Compare with the circuit simulator ngspice.

    Parameters
    ----------
    board : Board
    fault : str
        A fault put in, such as ``"R2 open"``.
    severity : float
        How far it has gone, 0 to 1.
    readings : sequence of str
        Such as ``"dc pin logic0"``; by default all useful ones.
    meter : Meter, optional
    progress : callable
        Such as `zcd.progress.progress_bar`.

    Returns
    -------
    comparison : Comparison
        `agrees` tells whether everything compared is within its limit.

    Raises
    ------
    InputError
        If there is no such fault or reading.
    NoSimulatorError
        If ngspice is not installed.
    SimulationError
        If it does not finish.

    Examples
    --------
    >>> import zcd
    >>> board = zcd.loads('''
    ... mains = "230 V 50 Hz"
    ... rectifier = "1N4007"
    ... optocoupler = "817C"
    ... chain.resistors = ["68k", "68k"]
    ... output = {pull_up = "10k", supply = "5 V"}
    ... ''')
    >>> zcd.compare_spice(board, readings=["dc pin logic0"]).agrees
    True
    """
    from zcd.diagnosis.faults import with_fault
    from zcd.diagnosis.meters import usual_meter
    from zcd.diagnosis.reading_syntax import parse_places
    from zcd.diagnosis.readings import useful_readings
    from zcd.spice.compare import compare

    require_range("severity", severity, 0.0, 1.0)
    nominal = build_circuit(board)
    chosen, circuit = with_fault(nominal, fault, severity)
    places = parse_places(readings, nominal) or useful_readings(board, nominal)
    with progress(3 * (1 + len(places))) as begin:
        return compare(
            board,
            circuit,
            meter or usual_meter(),
            places,
            fault=chosen.key,
            severity=None if chosen.amount is None else severity,
            progress=begin,
        )


def _require_as_many(conditions: Conditions) -> None:
    """Refuse lists of several lengths; one value goes with any."""
    given = (conditions.mains_rms_v, conditions.temperature_degc, conditions.ctr_ratio)
    counts = {np.size(each) for each in given if each is not None} - {1}
    if len(counts) > 1:
        found = " and ".join(str(count) for count in sorted(counts))
        raise InputError(
            f"mains, temperature, ctr: found {found} values; allowed: as many of each, or one"
        )


def _amounts(amounts: Amounts | None, kind: QuantityKind) -> NDArray[np.float64] | float | None:
    """A quantity, or many of them, in SI units."""
    if amounts is None:
        return None
    if isinstance(amounts, str | int | float):
        return parse_quantity(amounts, kind)
    values = [
        each.item() if isinstance(each, np.generic) else each
        for each in np.asarray(amounts, dtype=object).ravel()
    ]
    if not values:
        raise invalid_value(amounts, f"{kind.word}, or several")
    return np.array([parse_quantity(each, kind) for each in values])
