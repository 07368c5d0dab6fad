#!/usr/bin/env bash
# Builds the whole tool as one page: page/build.sh [PAGE.html], by default faydeck.html.
# Takes rustup's wasm32-unknown-unknown where it is installed, else Debian's packages rustc-web cargo-web rust-web-src rust-web-llvm and the
# lld that /usr/bin/rust-lld of the last one points at (lld-22 for example).
set -euo pipefail
cd "$(dirname "$0")/.."
page=$(realpath -m "${1:-faydeck.html}")
target=wasm32-unknown-unknown
# a folder of its own: other builds keep theirs
folder=${FAYDECK_PAGE_TARGET:-target/page}
build=(build --release --locked --target "$target" --target-dir "$folder" -p faydeck-page)
if [ -d "$(rustc --print sysroot)/lib/rustlib/$target" ]; then
    cargo "${build[@]}"
elif [ -x /usr/bin/cargo ] && [ -f /usr/lib/rustlib/src/rust/library/std/Cargo.toml ] && [ -e /usr/bin/rust-lld ]; then
    RUSTC_BOOTSTRAP=1 RUSTC=/usr/bin/rustc /usr/bin/cargo "${build[@]}" -Zbuild-std=std,panic_abort
else
    echo "no toolchain makes $target here" >&2
    echo "hint: rustup target add $target, or on Debian: apt-get install rustc-web cargo-web rust-web-src rust-web-llvm, then the" >&2
    echo "lld that /usr/bin/rust-lld points at: $(readlink /usr/bin/rust-lld || echo lld-22)" >&2
    exit 3
fi
python3 page/pack.py "$folder/$target/release/faydeck_page.wasm" "$page"
