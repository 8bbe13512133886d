#!/bin/sh
# Finds or fetches a Chromium for the tests marked `browser`: the machine's own, Debian's package when root, or
# playwright's build. With none the tests are skipped and say so; under CI=true that is a failure.
# A Chromium made for work without a screen is wanted most: a page takes it a quarter of the time.
set -u

has_chromium() {
    command -v chromium-headless-shell >/dev/null || command -v chromium >/dev/null ||
        command -v chromium-browser >/dev/null || command -v google-chrome >/dev/null ||
        ls "${PLAYWRIGHT_BROWSERS_PATH:-${HOME:-/root}/.cache/ms-playwright}"/chromium* >/dev/null 2>&1
}

install_package() {
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$1" >/dev/null 2>&1
}

command -v chromium-headless-shell >/dev/null && exit 0
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
    echo "No chromium-headless-shell here; asking Debian for its package." >&2
    has_chromium || apt-get update -qq
    install_package chromium-headless-shell || has_chromium || install_package chromium
fi
has_chromium || { echo "No Chromium here; asking playwright for its own." >&2; playwright install chromium; }
has_chromium && exit 0
echo "*** NO CHROMIUM COULD BE HAD: EVERY BROWSER TEST WILL BE SKIPPED ***" >&2
[ "${CI:-}" != true ]
