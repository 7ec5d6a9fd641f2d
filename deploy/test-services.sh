#!/bin/sh
# Install the Debian packages the tests need, without starting their services. A missing one is an error.
set -eu
PACKAGES="mosquitto chromium chromium-driver victoria-metrics qpdf poppler-utils openssl systemd iproute2 nginx-light"
missing=""
for package in $PACKAGES; do
    dpkg-query -W -f='${db:Status-Status}' "$package" 2>/dev/null | grep -qx installed || missing="$missing $package"
done
[ -n "$missing" ] || exit 0
if [ "$(id -u)" = 0 ]; then sudo=""; elif sudo -n true 2>/dev/null; then sudo="sudo -n"; else
    echo "The tests need these packages. Run: sudo apt-get install$missing" >&2
    exit 2
fi
policy=/usr/sbin/policy-rc.d
if [ ! -e "$policy" ]; then # 101: an installed service is not started
    printf '#!/bin/sh\nexit 101\n' | $sudo tee "$policy" >/dev/null
    $sudo chmod 755 "$policy"
    trap '$sudo rm -f "$policy"' EXIT
fi
$sudo apt-get update -qq
# shellcheck disable=SC2086  # one word a package
DEBIAN_FRONTEND=noninteractive $sudo apt-get install -y -qq --no-install-recommends $missing >/dev/null
