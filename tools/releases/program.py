"""Runs the program over releases and reads what it says."""
import json
import os
import subprocess
import time


class Program:
    """teasel, with a time limit for each run."""

    def __init__(self, path, limit_seconds):
        self.path = path
        self.limit_seconds = limit_seconds

    def run(self, *arguments):
        begun = time.time()
        try:
            made = subprocess.run([self.path, *map(str, arguments)], capture_output=True, text=True, errors="replace",
                                  timeout=self.limit_seconds)
            status, out, err = made.returncode, made.stdout, made.stderr
        except subprocess.TimeoutExpired:
            status, out, err = "over time", "", ""
        return {"status": status, "out": out, "err": err, "seconds": time.time() - begun}


def said(result):
    """What --json printed; nothing where there is none."""
    try:
        return json.loads(result["out"])
    except ValueError:
        return {}


def codes(result, severity="error"):
    return [f["code"] for f in said(result).get("findings", []) if f.get("severity") == severity]


def roles_of(job, edge=True):
    """By path as the job writes it: the role of every layer, "drill", and "outline" for the file of the edge."""
    inputs = job.get("inputs", {})
    roles = {os.path.normpath(layer["file"]): layer.get("role", "ignore") for layer in inputs.get("gerber", [])}
    roles |= {os.path.normpath(drill["file"]): "drill" for drill in inputs.get("drill", [])}
    if edge and inputs.get("outline", {}).get("file"):
        roles[os.path.normpath(inputs["outline"]["file"])] = "outline"
    return roles


# What may stand for what without harm: what no one lands on, and drawings whichever they are.
SILENT = {"silk top", "silk bottom", "drawing", "ignore", "not named", "empty"}


def agrees(role, mine):
    return role == mine or (role in SILENT and mine in SILENT)
