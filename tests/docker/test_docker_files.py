"""The container's files, as far as they can be checked without a container engine: nothing here builds an image."""

import json
import os
import re
import shlex
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import yaml

from clients.running import DIRECT, environment, free_port, wait_until_ready
from gramwatt import calculate

ROOT = Path(__file__).resolve().parents[2]
DOCKERFILE = ROOT / "docker" / "Dockerfile"
IGNORED = ROOT / "docker" / "Dockerfile.dockerignore"
COMPOSE = ROOT / "docker" / "compose.yaml"
SETTINGS = ROOT / "service" / "gramwatt" / "server" / "gunicorn_config.py"


def stages() -> list[list[tuple[str, str]]]:
    """Return the Dockerfile's instructions with their arguments, stage by stage; those before FROM come first."""
    text = "\n".join(line for line in DOCKERFILE.read_text().splitlines() if not line.startswith("#"))
    made: list[list[tuple[str, str]]] = [[]]
    for line in text.replace("\\\n", " ").splitlines():
        if not line.strip():
            continue
        name, _, arguments = line.strip().partition(" ")
        if name == "FROM":
            made.append([])
        made[-1].append((name, arguments.strip()))
    return made


def only(name: str) -> str:
    """Return the arguments of an instruction that the final stage has once."""
    (arguments,) = [arguments for found, arguments in stages()[-1] if found == name]
    return arguments


def health_command() -> list[str]:
    """Return the health check, as the words to run."""
    command = only("HEALTHCHECK").split(" CMD ", 1)[1]
    return [str(word) for word in json.loads(command)]


def variables() -> dict[str, str]:
    """Return the final stage's environment."""
    return dict(word.split("=", 1) for word in shlex.split(only("ENV")))


def service() -> dict[str, Any]:
    """Return the one service of compose.yaml."""
    (made,) = yaml.safe_load(COMPOSE.read_text())["services"].values()
    assert isinstance(made, dict)
    return made


def test_what_is_copied_is_there_and_not_ignored() -> None:
    """Each source of a COPY exists, and the ignore file, which shuts out everything, lets it in."""
    sources = [
        source
        for stage in stages()
        for name, arguments in stage
        if name == "COPY" and not arguments.startswith("--from=")
        for source in arguments.split()[:-1]
    ]
    ignored = [line for line in IGNORED.read_text().splitlines() if line and not line.startswith("#")]
    assert ignored[0] == "*"
    assert {"pyproject.toml", "service"} <= set(sources)
    for source in sources:
        assert (ROOT / source).exists(), source
        assert f"!{source}" in ignored, source


def test_what_the_package_is_built_of_is_copied() -> None:
    """The files that pyproject.toml names for the wheel are copied into the stage that builds it."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    wheel = project["tool"]["hatch"]["build"]["targets"]["wheel"]
    named = {project["project"]["readme"], *project["project"]["license-files"], *wheel["force-include"]}
    named |= {package.split("/")[0] for package in wheel["packages"]}
    copied = {word for name, arguments in stages()[1] if name == "COPY" for word in arguments.split()[:-1]}
    assert named <= copied


def test_nothing_comes_from_elsewhere() -> None:
    """No ADD, no URL but the health check's own, and base images by bare name."""
    build = [line for stage in stages() for line in stage]
    assert "ADD" not in [name for name, _ in build]
    assert all("://" not in arguments for name, arguments in build if name != "HEALTHCHECK")
    images = [arguments.split()[0] for name, arguments in build if name == "FROM"]
    assert len(images) == 2
    for image in images:
        assert re.fullmatch(r"python:\$\{PYTHON\}-slim", image)
    for text in (DOCKERFILE.read_text(), COMPOSE.read_text()):
        assert set(re.findall(r"https?://([^/'\"\s]+)", text)) <= {"127.0.0.1:8000", "127.0.0.1:"}


def test_the_python_is_one_that_the_package_supports() -> None:
    """The image's Python is not older than the package asks for."""
    (version,) = [arguments.removeprefix("PYTHON=") for name, arguments in stages()[0] if name == "ARG"]
    wanted = re.search(r'requires-python = ">=3\.(\d+)"', (ROOT / "pyproject.toml").read_text())
    assert wanted is not None
    assert int(version.split(".")[1]) >= int(wanted[1])


def test_the_final_stage_is_small_and_not_root() -> None:
    """A numeric user that is not root, set after the last RUN; no compiler, no package manager run."""
    final = stages()[-1]
    names = [name for name, _ in final]
    user, group = only("USER").split(":")
    assert int(user) > 0
    assert int(group) > 0
    assert "RUN" not in names[names.index("USER") :]
    assert not re.search(r"apt|gcc|build-essential|pip install", " ".join(arguments for _, arguments in final))
    assert only("EXPOSE") == variables()["PORT"] == "8000"
    assert json.loads(only("CMD")) == ["gunicorn", "-c", "python:gramwatt.server.gunicorn_config"]


def test_compose_confines_the_service() -> None:
    """Read-only, no capabilities, no new privileges, not root, bounded, and reached from this machine only."""
    made = service()
    assert made["read_only"] is True
    assert made["cap_drop"] == ["ALL"]
    assert made["security_opt"] == ["no-new-privileges:true"]
    assert made["user"] == only("USER")
    assert made["tmpfs"][0].split(":")[0] == "/tmp"
    assert made["restart"] == "unless-stopped"
    assert made["ports"] == ["127.0.0.1:8000:8000"]
    assert "privileged" not in made
    assert (COMPOSE.parent / made["build"]["context"]).resolve() == ROOT
    assert ROOT / made["build"]["dockerfile"] == DOCKERFILE


def test_compose_says_what_the_image_says() -> None:
    """The same health check, and more time to stop than gunicorn takes."""
    made = service()
    head, *command = made["healthcheck"]["test"]
    assert head == "CMD"
    assert [" ".join(word.split()) for word in command] == health_command()
    graceful = re.search(r"^graceful_timeout = (\d+)$", SETTINGS.read_text(), re.MULTILINE)
    assert graceful is not None
    assert int(made["stop_grace_period"].removesuffix("s")) > int(graceful[1])


def test_every_variable_named_is_read() -> None:
    """Each variable in compose.yaml, also in a comment, is one that the service or its settings read."""
    named = set(re.findall(r"\b(GRAMWATT_[A-Z_]+|WEB_CONCURRENCY)\b", COMPOSE.read_text()))
    code = "".join(path.read_text() for path in [SETTINGS, *sorted((ROOT / "service").rglob("*.py"))])
    assert len(named) >= 4
    assert [name for name in sorted(named) if f'"{name}"' not in code] == []


@dataclass
class Running:
    """The image's command, running outside a container."""

    url: str
    process: "subprocess.Popen[bytes]"
    environment: dict[str, str]
    home: Path
    app: Path
    log: Path


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Running]:
    """Run the very CMD in a folder like the image's, with an empty home, on a free port."""
    app, home, scratch, log = (tmp_path / name for name in ("app", "home", "scratch", "log"))
    for folder in (app, home, scratch):
        folder.mkdir()
    port = str(free_port())
    path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    own = {name: value for name, value in variables().items() if name != "PATH"}
    settings = environment(**own | {"PORT": port, "HOME": str(home), "TMPDIR": str(scratch), "PATH": path})
    for name in ("GUNICORN_CMD_ARGS", "PROMETHEUS_MULTIPROC_DIR", "WEB_CONCURRENCY"):
        settings.pop(name, None)
    with (
        log.open("wb") as sink,
        subprocess.Popen(
            json.loads(only("CMD")), cwd=app, env=settings, stdin=subprocess.DEVNULL, stdout=sink, stderr=sink
        ) as process,
    ):
        try:
            url = f"http://127.0.0.1:{port}"
            wait_until_ready(url, process, log)
            yield Running(url, process, settings, home, app, log)
        finally:
            if process.poll() is None:
                process.kill()


def healthy(running: Running) -> bool:
    """Whether the image's own health check is content."""
    checked = subprocess.run(
        health_command(), cwd=running.app, env=running.environment, capture_output=True, timeout=60
    )
    return checked.returncode == 0


def test_the_command_serves_and_ends(running: Running) -> None:
    """It answers, is found healthy, ends by itself on SIGTERM, is then found ill, and wrote nothing but scratch."""
    with DIRECT.open(f"{running.url}/v1/pack-energy/usable_energy?cells=6&capacity=1300", timeout=30) as response:
        value = float(response.read())
    assert value == calculate("pack-energy", cells=6, capacity=1300)["results"]["usable_energy"]
    assert healthy(running)
    running.process.terminate()
    assert running.process.wait(10) == 0, running.log.read_text()
    assert not healthy(running)
    assert list(running.home.iterdir()) == []
    assert list(running.app.iterdir()) == []
    assert "Traceback" not in running.log.read_text()


def test_nothing_starts_threads_before_the_workers_are_made() -> None:
    """Gunicorn makes the application and then forks: a pool of threads, such as that of polars, would be lost."""
    program = (
        "import os, polars, pyarrow, numpy\n"
        "def threads(): return len(os.listdir('/proc/self/task'))\n"
        "before = threads()\n"
        "from gramwatt.web import create_app\n"
        "create_app()\n"
        "made = threads()\n"
        "polars.DataFrame({'a': range(9)}).lazy().filter(polars.col('a') > 1).collect()\n"
        "print(made - before, threads() > made)"
    )
    ran = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert ran.stdout.split() == ["0", "True"], "the second: that such threads would be seen here"
