# Sourced by the scripts beside it: long steps that a signal ends at once, and what is cleared up after them.
# shellcheck shell=bash

child=''
clear_up=true

say() { printf '%s\n' "$*" >&2; }
die() {
  say "$*"
  exit 1
}

# However the script ends, the step under way is ended first, and then the named function runs.
#
# Every step has a process group of its own: Ctrl-C reaches the script alone, which passes it on.
at_the_end() {
  clear_up=$1
  trap 'finish $?' EXIT
  trap 'exit 130' INT
  trap 'exit 143' TERM
  trap 'exit 129' HUP
  set -m
}

# Runs one step to its end; if it fails, the script ends with its status.
step() {
  local status=0
  "$@" </dev/null &
  child=$!
  wait "$child" || status=$?
  child=''
  [ "$status" = 0 ] || exit "$status"
}

finish() {
  local status=$1
  trap '' INT TERM HUP
  trap - EXIT
  if [ -n "$child" ] && kill -TERM -- "-$child" 2>/dev/null; then
    # Half a minute for requests under way. Bash would tell of each job's end on the way.
    {
      for _ in $(seq 300); do
        [ -n "$(jobs -pr)" ] || break
        sleep 0.1
      done
      kill -KILL -- "-$child" || true
      wait "$child" || true
    } 2>/dev/null
  fi
  "$clear_up"
  exit "$status"
}

find_rust() {
  if ! command -v cargo >/dev/null && [ -x "$HOME/.cargo/bin/cargo" ]; then
    PATH=$HOME/.cargo/bin:$PATH
  fi
  command -v cargo >/dev/null || die "Rust is missing: install it from https://rustup.rs."
  command -v cc >/dev/null || die "A C compiler is missing: install one (Debian, Ubuntu: apt-get install build-essential)."
}
