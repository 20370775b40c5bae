#!/bin/sh
# Make the project's own environment in the folder $1, with pinned versions.
set -eu
venv=$1
python=${PYTHON:-python3}

say() { echo "chalkbeam setup: $*" >&2; }
install() { "$venv/bin/python" -m pip install --quiet --disable-pip-version-check "$@"; }

"$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' || {
    say "Python 3.11 or newer is needed and '$python' is none: name another with PYTHON=..."
    exit 2
}

# Some systems ship venv without the pip that goes into it (Debian: package
# python3-venv). The pip of the system can then fill the environment.
rm -rf "$venv"
if ! "$python" -m venv "$venv" >/dev/null 2>&1; then
    rm -rf "$venv"
    "$python" -m venv --without-pip "$venv"
    "$python" -m pip --python "$venv/bin/python" install --quiet --disable-pip-version-check pip || {
        say "no environment could be made: install your system's venv package (Debian: python3-venv)."
        exit 2
    }
fi

say "installing the pinned libraries into $venv (a few minutes the first time)"
install --constraint constraints.txt --editable '.[dev]'

# `import cv2` of the full wheel needs system libraries that a bare machine may
# lack (libGL, GLib, X11). Chalkbeam opens its windows with pygame alone, so the
# headless wheel of the same version serves as well: it is put in place then.
if ! "$venv/bin/python" -c 'import cv2' 2>/dev/null; then
    version=$("$venv/bin/python" -c 'from importlib.metadata import version; print(version("opencv-python"))')
    say "this machine lacks system libraries of opencv-python: using opencv-python-headless $version"
    "$venv/bin/python" -m pip uninstall --quiet --yes opencv-python
    install --no-deps "opencv-python-headless==$version"
    "$venv/bin/python" -c 'import cv2'
fi
