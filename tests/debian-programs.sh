#!/bin/sh
# What some tests call besides Python: programs from Debian, and the accessibility checker of the
# pages. Installed when we are root and apt is here; otherwise those tests are skipped with the reason.
programs="sox ffmpeg pdftotext pdftoppm chromium pulseaudio pactl npm"
missing=""
for program in $programs; do
    command -v "$program" >/dev/null 2>&1 || missing="$missing $program"
done
if [ -n "$missing" ]; then
    if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
        echo "Installing what the tests need from Debian:$missing"
        packages="sox libsox-fmt-all ffmpeg poppler-utils chromium pulseaudio pulseaudio-utils"
        case "$missing" in *npm*) packages="$packages npm" ;; esac
        apt-get update -qq && apt-get install -y -qq --no-install-recommends $packages >/dev/null \
            || echo "apt-get failed; going on"
    else
        echo "Not installed, tests that need them will be skipped:$missing"
    fi
fi
axe=tests/output/node/node_modules/axe-core/axe.min.js
if [ ! -f "$axe" ] && command -v npm >/dev/null 2>&1; then
    npm install --silent --no-audit --no-fund --no-package-lock --prefix tests/output/node axe-core@4.14.1 \
        >/dev/null 2>&1 || echo "npm could not install axe-core; going on"
fi
exit 0
