"""lasersafe: laser hazard zones, eyewear and barriers from one case file.

In a notebook, ``import lasersafe`` gives the functions that are listed in ``__all__``; each is loaded when it is first
used. Numbers go in as plain numbers in SI units, as text such as ``"1.5 kW"``, or as quantities of any pint registry,
single or in arrays; numbers come out as numpy arrays in SI units. Every result is a calculation from what was put in:
it defers to local law and to a qualified laser safety officer.
"""

TYPE_CHECKING = False  # typing need not be loaded for it; type checkers take it as True
if TYPE_CHECKING:
    from lasersafe.errors import CalcError, CaseError, InputError
    from lasersafe.library.answers import (
        HazardDistance,
        direct_distance,
        exposure_limit,
        judge_marking,
        optical_density,
        pulse_train_limit,
        scale_numbers,
        scatter_distance,
    )
    from lasersafe.library.beams import Beam, beam_exposure, collimated_beam, fibre_beam, lens_beam, to_si
    from lasersafe.library.cases import assess, make_case, read_case, starter_case, write_sheet
    from lasersafe.limits import ExposureLimit, PulseTrainLimit, rule_sets
    from lasersafe.models import Case
    from lasersafe.quantity import format_quantity
    from lasersafe.records import MarkingVerdict
    from lasersafe.results import Assessment
    from lasersafe.wording import caution_line

__version__ = "0.1.0"


_HOME = {
    "errors": ("CalcError", "CaseError", "InputError"),
    "library.answers": (
        "HazardDistance", "direct_distance", "exposure_limit", "judge_marking", "optical_density", "pulse_train_limit",
        "scale_numbers", "scatter_distance",
    ),
    "library.beams": ("Beam", "beam_exposure", "collimated_beam", "fibre_beam", "lens_beam", "to_si"),
    "library.cases": ("assess", "make_case", "read_case", "starter_case", "write_sheet"),
    "limits": ("ExposureLimit", "PulseTrainLimit", "rule_sets"),
    "models": ("Case",),
    "quantity": ("format_quantity",),
    "records": ("MarkingVerdict",),
    "results": ("Assessment",),
    "wording": ("caution_line",),
}  # fmt: skip
__all__ = [
    "Assessment", "Beam", "CalcError", "Case", "CaseError", "ExposureLimit", "HazardDistance", "InputError",
    "MarkingVerdict", "PulseTrainLimit", "__version__", "assess", "beam_exposure", "caution_line",
    "collimated_beam", "direct_distance", "exposure_limit", "fibre_beam", "format_quantity", "judge_marking",
    "lens_beam", "make_case", "optical_density", "pulse_train_limit", "read_case", "rule_sets",
    "scale_numbers", "scatter_distance", "starter_case", "to_si", "write_sheet",
]  # fmt: skip

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
