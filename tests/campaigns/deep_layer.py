"""What knowing the deep layer is worth: a layered scenario replayed without and with that layer configured.

    python tests/campaigns/deep_layer.py --scenario turn-180-layered --seed 1 --n 2

Source of the truth: sim/ with its own line model, coefficients of configs/, the layer of the scenario's own file.
Prints one JSON object last: per rod the errors of depth and how often the band held the truth, both ways.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent))

from run_against_truth import ROOT, figures, lines_of, pairs, simulated

KNOWN_SIGMA_MPS = 0.03  # of a layer that somebody measured: a drogue's worth, judgement


def known_layer(scenario: str) -> str:
    """The deep layer of a scenario as keys of boat.toml."""
    water: Mapping[str, Any] = tomllib.loads((ROOT / "sim" / "scenarios" / f"{scenario}.toml").read_text())[
        "water"
    ]
    keys = {
        "deep_layer_set_deg": water["deep_set_deg"],
        "deep_layer_drift_mps": water["deep_drift_mps"],
        "deep_layer_depth_m": water["transition_depth_m"],
        "deep_layer_scale_m": water["transition_scale_m"],
        "deep_layer_sigma_mps": KNOWN_SIGMA_MPS,
    }
    return "".join(f"{name} = {float(value)}\n" for name, value in keys.items())


def one_seed(
    scenario: str, seed: int, seconds: float | None, boats: Mapping[str, str], folder: Path
) -> dict[str, Any]:
    """Matched frames and truth of one simulated run, by name of the boat.toml it was replayed with."""
    log, truth = folder / "log.nmea", folder / "truth.jsonl"
    simulated(scenario, f"file:{log}", truth, seed, seconds)
    out = {}
    for name, text in boats.items():
        config, frames = folder / name, folder / f"{name}.jsonl"
        config.mkdir()
        (config / "boat.toml").write_text(text)
        replay = [sys.executable, "-m", "assistant", "replay", str(log), "--frames", str(frames)]
        subprocess.run([*replay, "--config", str(config)], check=True, stdout=subprocess.DEVNULL, cwd=ROOT)
        out[name] = pairs(lines_of(frames), lines_of(truth))
    return out


def main(argv: list[str] | None = None) -> dict[str, Any]:
    """Run the comparison; returns what it prints."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--scenario", default="turn-180-layered")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--n", type=int, default=1, help="seeds in a row")
    parser.add_argument("--seconds", type=float)
    args = parser.parse_args(argv)
    plain = (ROOT / "configs" / "boat.toml").read_text()
    boats = {"unknown": plain, "known": plain + known_layer(args.scenario)}
    matched: dict[str, list[Any]] = {name: [] for name in boats}
    for seed in range(args.seed, args.seed + args.n):
        with tempfile.TemporaryDirectory() as folder:
            for name, found in one_seed(args.scenario, seed, args.seconds, boats, Path(folder)).items():
                matched[name] += found
    rods = {
        name: {rod: figures(found, rod) for rod in found[0][0]["lines"]} for name, found in matched.items()
    }
    result = {"scenario": args.scenario, "seed": args.seed, "n": args.n, **rods}
    print(json.dumps(result))
    return result


if __name__ == "__main__":
    main()
