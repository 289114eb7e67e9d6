//! Compiles the contract without protoc and keeps its descriptors for reflection.

use std::path::{Path, PathBuf};
use std::{env, fs};

use prost::Message as _;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let root = PathBuf::from(env::var("CARGO_MANIFEST_DIR")?);
    let folder = root.join("weighhouse/v1");
    let mut files: Vec<PathBuf> = fs::read_dir(&folder)?
        .map(|entry| entry.map(|entry| entry.path()))
        .collect::<Result<_, _>>()?;
    files.sort();
    println!("cargo:rerun-if-changed={}", folder.display());
    println!("cargo:rerun-if-changed={}", root.join("google").display());

    let descriptors = protox::compile(&files, [&root])?;
    let out = env::var("OUT_DIR")?;
    fs::write(
        Path::new(&out).join("descriptors.bin"),
        descriptors.encode_to_vec(),
    )?;
    tonic_prost_build::configure().compile_fds(descriptors)?;
    Ok(())
}
