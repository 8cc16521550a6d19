"""Compiles the engine's kernel as the package is built, where there is a C compiler.

Without one the wheel is the same, less this file: Python runs `kernel.py` as it stands.
"""

from __future__ import annotations

from pathlib import Path
from tempfile import mkdtemp
from typing import Any

from Cython.Build import cythonize
from hatchling.builders.hooks.plugin.interface import BuildHookInterface
from setuptools import Distribution, Extension
from setuptools.errors import CCompilerError, ExecError, PlatformError

KERNEL = "zcd/engine/kernel.py"


class KernelBuild(BuildHookInterface[Any]):
    """Adds the compiled kernel to a wheel; to an editable install, beside its source."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        root, editable = Path(self.root), version == "editable"
        for old in root.joinpath(KERNEL).parent.glob("kernel.*.*") if editable else ():
            old.unlink()  # Python would run it in place of the source
        try:
            built = compiled(root / KERNEL)
        except (CCompilerError, ExecError, PlatformError) as error:
            self.app.display_warning(f"zcd works, but slowly: no C compiler ({error})")
            return
        place = Path(KERNEL).with_name(built.name)
        if editable:
            root.joinpath(place).write_bytes(built.read_bytes())
        else:
            build_data["force_include"][str(built)] = str(place)
        build_data["pure_python"], build_data["infer_tag"] = False, True


def compiled(source: Path) -> Path:
    """The extension module that a source file compiles to."""
    folder = mkdtemp()
    parts = [Extension("zcd.engine.kernel", [str(source)])]
    parts = cythonize(parts, build_dir=folder, quiet=True)
    command = Distribution({"ext_modules": parts}).get_command_obj("build_ext")
    command.build_lib = command.build_temp = folder
    command.ensure_finalized()
    command.run()
    return Path(command.get_ext_fullpath("zcd.engine.kernel"))
