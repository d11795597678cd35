# shellcheck shell=bash
# Sourced by the scripts beside this directory: what the distribution must provide.

die() { echo "${0##*/}: $*" >&2; exit 1; }

# install_packages WHY PACKAGE...: installs packages of the distribution, after saying so.
install_packages() {
  local why=$1 as=()
  shift
  command -v apt-get >/dev/null || die "$why: install the package(s) $* (this system has no apt-get, so that is left to you)"
  if [ "$(id -u)" != 0 ]; then
    # Without a terminal sudo could only wait for a password that nobody types.
    if command -v sudo >/dev/null && { sudo -n true 2>/dev/null || [ -t 0 ]; }; then
      as=(sudo)
    else
      die "$why: install the package(s) $* (apt-get install $*); this user is neither root nor may use sudo"
    fi
  fi
  echo "${0##*/}: $why; installing $* from the distribution" >&2
  local apt=("${as[@]}" env DEBIAN_FRONTEND=noninteractive apt-get -qq -o DPkg::Lock::Timeout=300) log
  log=$(mktemp)
  if ! { "${apt[@]}" update && "${apt[@]}" install -y --no-install-recommends "$@"; } >"$log" 2>&1 </dev/null; then
    tail -n 20 "$log" >&2
    rm -f "$log"
    die "could not install $*"
  fi
  rm -f "$log"
}

# need_postgresql: PostgreSQL's server programs. A cluster that the package starts by itself is left alone.
need_postgresql() {
  compgen -G '/usr/lib/postgresql/*/bin/initdb' >/dev/null || command -v postgres >/dev/null ||
    install_packages "no PostgreSQL server found" postgresql
}

# need_compiler: the race detector is C.
need_compiler() {
  command -v gcc >/dev/null && [ -e /usr/include/stdlib.h ] ||
    install_packages "the race detector needs a C compiler" gcc libc6-dev
}

need_go() {
  command -v go >/dev/null || die "Go 1.26 or later is needed, and no go is in PATH"
}
