#!/bin/sh
# The programs from Debian that some tests call: installed when we are root and apt is here;
# otherwise those tests are skipped with the reason.
programs="sox ffmpeg pdftotext pdftoppm"
missing=""
for program in $programs; do
    command -v "$program" >/dev/null 2>&1 || missing="$missing $program"
done
[ -z "$missing" ] && exit 0
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
    echo "Installing what the tests need from Debian:$missing"
    apt-get update -qq && apt-get install -y -qq --no-install-recommends \
        sox libsox-fmt-all ffmpeg poppler-utils >/dev/null || echo "apt-get failed; going on"
else
    echo "Not installed, tests that need them will be skipped:$missing"
fi
exit 0
