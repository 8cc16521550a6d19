"""What is known of a board at the bench, and what readings make of it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from zcd.board.model import Board
from zcd.circuit.elements import Circuit
from zcd.diagnosis.expected_readings import ExpectedReading
from zcd.diagnosis.fault_dictionary import FaultDictionary, make_fault_dictionary
from zcd.diagnosis.job import Job
from zcd.diagnosis.job_history import FaultStatistics, with_fault_statistics
from zcd.diagnosis.meters import Meter
from zcd.diagnosis.next_reading import Choice, Suggestion
from zcd.diagnosis.rank import Diagnosis, Ranked, choices, diagnose
from zcd.diagnosis.reading_syntax import as_measured
from zcd.diagnosis.readings import Measured
from zcd.progress import ProgressBar, no_bar
from zcd.results import Result


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class ExpectedReadings(Result):
    """What a meter reads on a good board and with each fault.

    Parameters
    ----------
    board : Board
    circuit : Circuit
        Nominal, for the parts between nodes.
    meter : Meter
    lines : tuple of ExpectedReading
        Safest first.
    """

    board: Board
    circuit: Circuit
    meter: Meter
    lines: tuple[ExpectedReading, ...]


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Case(Result):
    """A diagnosis with what it is about.

    Parameters
    ----------
    job : Job
    dictionary : FaultDictionary
        What each reading would show under each fault.
    diagnosis : Diagnosis
    known : FaultStatistics or None
        What closed jobs made of the priors; None: they were left out.
    unkept : tuple of Measured
        Readings of `job` that its file does not have: they were given for this answer only.
    """

    job: Job
    dictionary: FaultDictionary = field(compare=False)
    diagnosis: Diagnosis
    known: FaultStatistics | None = None
    unkept: tuple[Measured, ...] = ()

    @classmethod
    def of(
        cls,
        job: Job,
        statistics: FaultStatistics | None = None,
        *,
        progress: ProgressBar = no_bar,
    ) -> Case:
        """Diagnose a job.

        Parameters
        ----------
        job : Job
        statistics : FaultStatistics, optional
            What closed jobs say; they then shift what is likely before any reading.
        progress : callable
            Tells which reading is being predicted.

        Returns
        -------
        case : Case
        """
        statistics = statistics if statistics is not None and statistics.jobs else None
        dictionary = make_fault_dictionary(job.board, job.meter, stored=True)
        dictionary = with_fault_statistics(dictionary, statistics)
        return cls._diagnosed(job, dictionary, statistics, progress)

    @classmethod
    def _diagnosed(
        cls,
        job: Job,
        dictionary: FaultDictionary,
        statistics: FaultStatistics | None,
        progress: ProgressBar = no_bar,
    ) -> Case:
        with progress(len(dictionary.readings)) as begin:
            result = diagnose(dictionary, job.measured, job.skipped, begin, job.flags)
        dictionary.keep()
        return cls(job=job, dictionary=dictionary, diagnosis=result, known=statistics)

    @property
    def board(self) -> Board:
        """The board that came in."""
        return self.job.board

    @property
    def circuit(self) -> Circuit:
        """Nominal, for the parts between nodes."""
        return self.dictionary.circuit

    @property
    def ranked(self) -> tuple[Ranked, ...]:
        """Faults, likeliest first."""
        return self.diagnosis.ranked

    @property
    def next_reading(self) -> Suggestion | None:
        """The reading to take next; None: it is settled, or nothing left would change it."""
        return self.diagnosis.suggestion

    @property
    def measured(self) -> tuple[Measured, ...]:
        """Readings so far."""
        return self.diagnosis.measured

    @property
    def suspects(self) -> tuple[Measured, ...]:
        """Readings that contradict all the others."""
        return self.diagnosis.suspects

    @property
    def conclusion(self) -> str:
        """What the readings say, in a sentence."""
        return self.diagnosis.conclusion

    def choices(self) -> tuple[Choice, ...]:
        """Compare the readings that could be taken next without lifting a part.

        Returns
        -------
        choices : tuple of Choice
            The most informative one for its effort and risk first.
        """
        result = choices(self.dictionary, self.job.measured, self.job.skipped, self.job.flags)
        self.dictionary.keep()
        return result

    def add(self, *taken: str | Measured) -> Case:
        """Go on with more readings.

        Parameters
        ----------
        taken : str or Measured
            Such as ``"dc pin logic0 4.21 V"``.

        Returns
        -------
        case : Case

        Raises
        ------
        InputError
            If a reading cannot be read.

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
        >>> zcd.diagnose(board).add("ohm R2 OL").ranked[0].key
        'R2 open'
        """
        if not taken:
            return self
        more = as_measured(taken, self.circuit)
        job = replace(self.job, log=self.job.log + more)
        return self._diagnosed(job, self.dictionary, self.known)
