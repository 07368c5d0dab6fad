#!/usr/bin/env bash
# The minimum Rust version that Cargo.toml states compiles the crate: with its own toolchain where that is another one than the
# toolchain in use.
set -euo pipefail
cd "$(dirname "$0")/.."

least=$(sed -n 's/^rust-version = "\(.*\)"$/\1/p' Cargo.toml)
used=$(rustc --version | cut -d' ' -f2)
case "$used" in
    "$least" | "$least".*) cargo check --quiet --locked --all-targets ;;
    *)
        rustup toolchain list | grep -q "^$least" || rustup toolchain install "$least" --profile minimal
        cargo "+$least" check --quiet --locked --all-targets --target-dir target/minimum-rust
        ;;
esac
echo "Rust $least compiles it"
