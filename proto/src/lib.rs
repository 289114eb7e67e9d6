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

/// Paths of the contract's methods, such as
/// `/weighhouse.v1.IntakeService/RecordWeighIn`.
///
/// # Panics
/// Never: the descriptors are this build's own.
#[must_use]
pub fn methods() -> &'static std::collections::BTreeSet<String> {
    use prost::Message as _;
    static METHODS: std::sync::OnceLock<std::collections::BTreeSet<String>> =
        std::sync::OnceLock::new();
    METHODS.get_or_init(|| {
        let set = prost_types::FileDescriptorSet::decode(DESCRIPTORS)
            .expect("descriptors that this build wrote");
        let mut paths = std::collections::BTreeSet::new();
        for file in &set.file {
            for service in &file.service {
                for method in &service.method {
                    let (package, service) = (file.package(), service.name());
                    paths.insert(format!("/{package}.{service}/{}", method.name()));
                }
            }
        }
        paths
    })
}
