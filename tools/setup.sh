#!/bin/sh
# Make the project's own environment in the folder $1, with pinned versions.
#
# `import cv2` of the full wheel needs system libraries that a bare machine may
# lack (libGL, GLib, X11). Chalkbeam opens its windows with pygame alone, so the
# headless wheel of the same version serves equally well: it is put in place then.
set -eu
venv=$1
python=${PYTHON:-python3}

"$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' || {
    echo "Chalkbeam needs Python 3.11 or newer; '$python' is older: name another with PYTHON=..." >&2
    exit 2
}
"$python" -m venv "$venv" || {
    echo "No virtual environment could be made: install your system's venv package (Debian: python3-venv)." >&2
    exit 2
}
"$venv/bin/pip" install --quiet --disable-pip-version-check \
    --constraint constraints.txt --editable '.[dev]'
if ! "$venv/bin/python" -c 'import cv2' 2>/dev/null; then
    version=$("$venv/bin/pip" show opencv-python | sed -n 's/^Version: //p')
    echo "This machine lacks the system libraries of opencv-python: using opencv-python-headless $version instead."
    "$venv/bin/pip" uninstall --quiet --yes opencv-python
    "$venv/bin/pip" install --quiet --disable-pip-version-check --no-deps "opencv-python-headless==$version"
    "$venv/bin/python" -c 'import cv2'
fi
