//! The contract `weighhouse.v1` as generated Rust types, and nothing else.
//!
//! Only `intake` and `client` use these types: a wire type never enters the
//! rules, the books or the desk.

/// `google.type`: whole calendar dates.
#[allow(missing_docs, clippy::all)]
pub mod google {
    pub mod r#type {
        tonic::include_proto!("google.r#type");
    }
}

/// `weighhouse.v1`: messages, clients and servers.
pub mod weighhouse {
    /// Version 1 of the contract.
    #[allow(missing_docs, clippy::all)]
    pub mod v1 {
        tonic::include_proto!("weighhouse.v1");
    }
}

pub use weighhouse::v1;

/// Encoded `FileDescriptorSet` of the contract, for reflection and for JSON.
pub const DESCRIPTORS: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/descriptors.bin"));
