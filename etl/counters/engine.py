"""The two networks that find and read text, from the wheel of rapidocr; loaded when first needed, never downloaded.

Finding is slow (a quarter of a second for a small picture), reading what was found is quick (a fiftieth). So pictures of one
camera are searched a few times and then read at the place that was found, each several times (see ``places``, ``pictures``).
Reading is done here by onnxruntime itself, since doubt needs the probability of each sign, not of the text on the whole.
"""

from dataclasses import dataclass
from functools import lru_cache
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from etl.counters.signs import Alphabet, Columns
from sewermap.errors import SourceError

Picture = NDArray[np.uint8]
"""Height, width, and red, green, blue."""

_EXTRA = 'pip install "sewermap[media]"'
_THREADS = 1
"""A thread a network: the time a picture takes is then the same on a busy machine, and the machine stays of use."""

_HEIGHT = 48
_LEAST_WIDTH = 160
_BATCH = 16


@dataclass(frozen=True)
class Seen:
    """A text that was read: its signs, the probability of each, where along the crop each stands (0 left, 1 right), and the
    probabilities of a counter's signs in all columns.
    """

    text: str
    sure: NDArray[np.float64]
    along: NDArray[np.float64]
    columns: Columns


def module(name: str) -> Any:
    """A package of the extra ``media``; raises SourceError that says how to get it, where it is missing."""
    try:
        return import_module(name)
    except ImportError as error:
        raise SourceError(f"reading pictures and films needs {name}, which is not installed: {_EXTRA}") from error


@lru_cache(maxsize=1)
def engine() -> "Engine":
    """The engine that all reading shares; made once."""
    return Engine()


class Engine:
    """Finds texts in a picture, and reads crops."""

    def __init__(self) -> None:
        """Load both networks from the wheel; raises SourceError where the extra is missing or its wheel holds none."""
        rapidocr, runtime = module("rapidocr"), module("onnxruntime")
        folder = Path(rapidocr.__file__).parent / "models"
        finds, reads = _model(folder, "det"), _model(folder, "rec")
        self._finder = rapidocr.RapidOCR(
            params={
                "Global.log_level": "critical",
                "Det.model_path": str(finds),
                "Det.limit_type": "max",
                "Det.limit_side_len": 2000,
                "EngineConfig.onnxruntime.intra_op_num_threads": _THREADS,
                "EngineConfig.onnxruntime.inter_op_num_threads": _THREADS,
            }
        )
        options = runtime.SessionOptions()
        options.intra_op_num_threads = options.inter_op_num_threads = _THREADS
        options.log_severity_level = 4
        self._reader = runtime.InferenceSession(str(reads), sess_options=options, providers=["CPUExecutionProvider"])
        self._input = self._reader.get_inputs()[0].name
        signs = self._reader.get_modelmeta().custom_metadata_map["character"].splitlines()
        self._signs = np.array(["", *signs, " "], dtype=object)  # the first stands for: no sign begins here
        self._alphabet = Alphabet(self._signs.tolist())

    def boxes(self, picture: Picture) -> NDArray[np.float64]:
        """Where texts stand: (N, 4), left, top, right and bottom, in the picture's own units of a pixel."""
        found = self._finder(np.ascontiguousarray(picture[:, :, ::-1]), use_det=True, use_cls=False, use_rec=False)
        if found is None or found.boxes is None or not len(found.boxes):
            return np.empty((0, 4))
        corners = np.asarray(found.boxes, dtype=np.float64)
        return np.concatenate([corners.min(axis=1), corners.max(axis=1)], axis=1)

    def read(self, crops: list[Picture]) -> list[Seen]:
        """What stands in each crop of one line of text; crops of like width are read together."""
        seen: dict[int, Seen] = {}
        widths = np.array([_width(crop) for crop in crops], dtype=int)
        order = np.argsort(widths, kind="stable")
        for start in range(0, len(order), _BATCH):
            chosen = order[start : start + _BATCH]
            seen.update(zip(chosen.tolist(), self._read_together(crops, widths, chosen), strict=True))
        return [seen[number] for number in range(len(crops))]

    def _read_together(self, crops: list[Picture], widths: NDArray[np.int_], chosen: NDArray[np.int_]) -> list[Seen]:
        image = module("PIL.Image")
        most = max(_LEAST_WIDTH, int(widths[chosen].max()))
        batch = np.zeros((len(chosen), 3, _HEIGHT, most), dtype=np.float32)
        for place, number in enumerate(chosen):
            sized = image.fromarray(crops[number]).resize((int(widths[number]), _HEIGHT), image.Resampling.BICUBIC)
            values = np.asarray(sized, dtype=np.float32)[:, :, ::-1] / 127.5 - 1
            batch[place, :, :, : values.shape[1]] = values.transpose(2, 0, 1)
        chances = self._reader.run(None, {self._input: batch})[0]
        return [self._seen(one, most / widths[number]) for one, number in zip(chances, chosen, strict=True)]

    def _seen(self, chances: NDArray[np.float32], stretch: float) -> Seen:
        """The likeliest signs, repeated ones once (greedy decoding of connectionist temporal classification)."""
        best = chances.argmax(axis=1)
        begins = (best != 0) & np.concatenate([[True], best[1:] != best[:-1]])
        steps = np.flatnonzero(begins)
        run = np.cumsum(np.concatenate([[True], best[1:] != best[:-1]])) - 1
        peak = np.zeros(run[-1] + 1)
        np.maximum.at(peak, run, chances.max(axis=1))
        along = (steps + 0.5) / len(best) * stretch
        return Seen("".join(self._signs[best[steps]]), peak[run[steps]], along, self._alphabet.columns(chances))


def _width(crop: Picture) -> int:
    height, width = crop.shape[:2]
    return max(8, int(_HEIGHT * width / height + 0.5))


def _model(folder: Path, use: str) -> Path:
    found = sorted(folder.glob(f"*_{use}_*.onnx"))
    if not found:
        raise SourceError(f"the installed rapidocr holds no network to read with (none named *_{use}_*): {_EXTRA}")
    return found[0]
