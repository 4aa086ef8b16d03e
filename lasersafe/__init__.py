"""lasersafe: laser hazard zones, eyewear and barriers from one case file.

In a notebook, ``import lasersafe`` gives the functions that are listed in ``__all__``; each is loaded when it is first
used. Numbers go in as plain numbers in SI units, as text such as ``"1.5 kW"``, or as quantities of any pint registry,
single or in arrays; numbers come out as numpy arrays in SI units. Every result is a calculation from what was put in:
it defers to local law and to a qualified laser safety officer.
"""

TYPE_CHECKING = False  # typing need not be loaded for it; type checkers take it as True
if TYPE_CHECKING:
    from lasersafe.errors import CalcError as CalcError
    from lasersafe.errors import CaseError as CaseError
    from lasersafe.errors import InputError as InputError
    from lasersafe.library.answers import HazardDistance as HazardDistance
    from lasersafe.library.answers import direct_distance as direct_distance
    from lasersafe.library.answers import exposure_limit as exposure_limit
    from lasersafe.library.answers import judge_marking as judge_marking
    from lasersafe.library.answers import optical_density as optical_density
    from lasersafe.library.answers import pulse_train_limit as pulse_train_limit
    from lasersafe.library.answers import scale_numbers as scale_numbers
    from lasersafe.library.answers import scatter_distance as scatter_distance
    from lasersafe.library.beams import Beam as Beam
    from lasersafe.library.beams import beam_exposure as beam_exposure
    from lasersafe.library.beams import collimated_beam as collimated_beam
    from lasersafe.library.beams import fibre_beam as fibre_beam
    from lasersafe.library.beams import lens_beam as lens_beam
    from lasersafe.library.beams import to_si as to_si
    from lasersafe.library.cases import Svg as Svg
    from lasersafe.library.cases import assess as assess
    from lasersafe.library.cases import make_case as make_case
    from lasersafe.library.cases import plan_svg as plan_svg
    from lasersafe.library.cases import read_case as read_case
    from lasersafe.library.cases import starter_case as starter_case
    from lasersafe.library.cases import write_sheet as write_sheet
    from lasersafe.limits import ExposureLimit as ExposureLimit
    from lasersafe.limits import PulseTrainLimit as PulseTrainLimit
    from lasersafe.limits import rule_sets as rule_sets
    from lasersafe.models import Case as Case
    from lasersafe.quantity import format_quantity as format_quantity
    from lasersafe.results import Assessment as Assessment
    from lasersafe.results import MarkingVerdict as MarkingVerdict
    from lasersafe.wording import caution_line as caution_line

__version__ = "0.1.0"


_HOME = {
    "errors": ("CalcError", "CaseError", "InputError"),
    "library.answers": (
        "HazardDistance", "direct_distance", "exposure_limit", "judge_marking", "optical_density", "pulse_train_limit",
        "scale_numbers", "scatter_distance",
    ),
    "library.beams": ("Beam", "beam_exposure", "collimated_beam", "fibre_beam", "lens_beam", "to_si"),
    "library.cases": ("Svg", "assess", "make_case", "plan_svg", "read_case", "starter_case", "write_sheet"),
    "limits": ("ExposureLimit", "PulseTrainLimit", "rule_sets"),
    "models": ("Case",),
    "quantity": ("format_quantity",),
    "results": ("Assessment", "MarkingVerdict"),
    "wording": ("caution_line",),
}  # fmt: skip
__all__ = sorted(["__version__", *(name for names in _HOME.values() for name in names)])

if not TYPE_CHECKING:

    def __getattr__(name):
        """Load what is asked for."""
        home = next((module for module, names in _HOME.items() if name in names), None)
        if home is None:
            known = ", ".join(one for one in __all__ if one.lower().startswith(name[:3].lower()))
            hint = f"; there is {known}" if known else "; dir(lasersafe) lists what there is"
            message = f"module 'lasersafe' has no attribute {name!r}{hint}"
            raise AttributeError(message)
        from importlib import import_module

        value = getattr(import_module(f"lasersafe.{home}"), name)
        globals()[name] = value
        return value

    def __dir__():
        """List what there is, loaded or not."""
        return sorted({*globals(), *__all__} - {"TYPE_CHECKING"})
