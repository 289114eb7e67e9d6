//! Lot numbers asked ahead, parsed.

use proto::v1;
use rules::codes::{CodesAsked, MOST_NUMBERS};

use super::{Asked, At as _, Bad, code, count, request_id};

/// A block of numbers for a device.
pub(crate) fn request_codes(request: v1::RequestCodesRequest) -> Result<Asked<CodesAsked>, Bad> {
    let most = i32::try_from(MOST_NUMBERS).unwrap_or(i32::MAX);
    Ok(Asked {
        request_id: request_id(&request.request_id)?,
        what: CodesAsked {
            site: super::site(request.site)?,
            device: code(request.device).at("device")?,
            numbers: count(request.count, 1, most).at("count")?,
        },
    })
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;

    #[test]
    fn a_block_is_asked_for_by_a_device_and_has_a_size() {
        let good = || v1::RequestCodesRequest {
            request_id: "0b9c6a52-6a3e-4f0e-9a53-3f1c2d7e8a90".to_owned(),
            site: 1,
            device: "tablet".to_owned(),
            count: 1000,
        };
        let what = request_codes(good()).unwrap().what;
        assert_eq!((what.device.as_str(), what.numbers), ("tablet", 1000));
        type Change = fn(&mut v1::RequestCodesRequest);
        let cases: &[(&str, Change)] = &[
            ("request_id", |r| r.request_id.clear()),
            ("site", |r| r.site = 10_000),
            ("device", |r| r.device.clear()),
            ("device", |r| r.device = "Tablet".into()),
            ("count", |r| r.count = 0),
            ("count", |r| r.count = 1001),
        ];
        for (field, change) in cases {
            let mut request = good();
            change(&mut request);
            assert_eq!(request_codes(request).unwrap_err().field, *field);
        }
    }
}
