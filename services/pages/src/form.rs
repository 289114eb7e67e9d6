//! What a form sent: names and values in the order of the page.
//!
//! A form that books something bears its page's token, which only a page of the same
//! session has, and the id of its request, so that sending it twice books it once.

use axum::body::Bytes;
use axum::extract::{FromRequest, Request};

use crate::house::House;
use crate::refused::Refused;
use crate::visit::{SignedIn, Visit, see};

/// Most bytes of a form.
pub(crate) const LARGEST: usize = 64 * 1024;
/// Most fields of a form.
const MOST_FIELDS: usize = 2000;

/// Fields of a form or of an address, in order.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Fields(Vec<(String, String)>);

impl Fields {
    pub(crate) fn read(bytes: &[u8]) -> Fields {
        let pairs = form_urlencoded::parse(bytes).into_owned();
        Fields(pairs.take(MOST_FIELDS).collect())
    }

    /// The value of a field without the blanks around it; empty where there is none.
    pub(crate) fn get(&self, name: &str) -> &str {
        let found = self.0.iter().find(|(key, _)| key == name);
        found.map_or("", |(_, value)| value.trim())
    }

    /// The value of the n-th field of a name, as [`Fields::get`] gives the first.
    pub(crate) fn nth(&self, name: &str, n: usize) -> &str {
        let mut found = self.0.iter().filter(|(key, _)| key == name);
        found.nth(n).map_or("", |(_, value)| value.trim())
    }

    /// How many fields of a name there are.
    pub(crate) fn count(&self, name: &str) -> usize {
        self.0.iter().filter(|(key, _)| key == name).count()
    }

    /// Names and values in order, as they came.
    pub(crate) fn pairs(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0
            .iter()
            .map(|(name, value)| (name.as_str(), value.as_str()))
    }

    /// The same without the fields that `is_out` names.
    pub(crate) fn without(&self, is_out: impl Fn(&str) -> bool) -> Fields {
        let kept = self.0.iter().filter(|(name, _)| !is_out(name));
        Fields(kept.cloned().collect())
    }

    /// The same with one value for a name.
    pub(crate) fn with(&self, name: &str, value: &str) -> Fields {
        let mut fields = self.without(|of| of == name);
        fields.0.push((name.to_owned(), value.to_owned()));
        fields
    }

    #[cfg(test)]
    pub(crate) fn of(pairs: &[(&str, &str)]) -> Fields {
        pairs.iter().copied().collect()
    }
}

/// Fields as somebody would have typed them.
impl<A: Into<String>, B: Into<String>> FromIterator<(A, B)> for Fields {
    fn from_iter<I: IntoIterator<Item = (A, B)>>(pairs: I) -> Fields {
        let pairs = pairs.into_iter().map(|(a, b)| (a.into(), b.into()));
        Fields(pairs.collect())
    }
}

/// The fields of an address, after its question mark.
pub(crate) fn query(uri: &axum::http::Uri) -> Fields {
    Fields::read(uri.query().unwrap_or_default().as_bytes())
}

async fn fields(request: Request, house: &House) -> Result<Fields, Refused> {
    let size = request.headers().get(axum::http::header::CONTENT_LENGTH);
    let said = size.and_then(|size| size.to_str().ok()?.parse::<usize>().ok());
    if said.is_some_and(|said| said > LARGEST) {
        return Err(Refused::TooLong);
    }
    let bytes = Bytes::from_request(request, house).await;
    let bytes = bytes.map_err(|_| Refused::TooLong)?;
    if bytes.len() > LARGEST {
        return Err(Refused::TooLong);
    }
    Ok(Fields::read(&bytes))
}

/// A form of somebody who need not be signed in.
pub(crate) struct Open(pub(crate) Visit, pub(crate) Fields);

impl FromRequest<House> for Open {
    type Rejection = axum::response::Response;

    async fn from_request(request: Request, house: &House) -> Result<Open, Self::Rejection> {
        let visit = Visit::of(house, request.headers(), request.uri()).await;
        let visit = match visit {
            Ok(visit) => visit,
            Err(refused) => {
                return Err(crate::refused::in_no_frame(
                    house,
                    request.headers(),
                    refused,
                ));
            }
        };
        match fields(request, house).await {
            Ok(fields) => Ok(Open(visit, fields)),
            Err(refused) => Err(refused.page(&visit)),
        }
    }
}

/// A form of somebody who is signed in, from a page of their session.
pub(crate) struct Sent(pub(crate) SignedIn, pub(crate) Fields);

impl FromRequest<House> for Sent {
    type Rejection = axum::response::Response;

    async fn from_request(request: Request, house: &House) -> Result<Sent, Self::Rejection> {
        let Open(visit, fields) = Open::from_request(request, house).await?;
        let signed_in = visit.signed_in().ok_or_else(|| see("/sign-in"))?;
        if fields.get("token") != signed_in.token() {
            house
                .desk
                .refused(&signed_in.caller.name(), "pages", "FORM_WITHOUT_TOKEN", "")
                .await;
            return Err(Refused::FromElsewhere.page(&signed_in.visit));
        }
        Ok(Sent(signed_in, fields))
    }
}

/// The id of a form's request: as the page made it.
pub(crate) fn request_id(fields: &Fields) -> Result<String, Refused> {
    let id = fields.get("request_id");
    if (1..=64).contains(&id.len()) && id.bytes().all(|b| b.is_ascii_graphic()) {
        Ok(id.to_owned())
    } else {
        Err(Refused::FromElsewhere)
    }
}

/// A request id nobody used.
pub(crate) fn fresh_id() -> String {
    uuid::Uuid::now_v7().to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fields_are_read_in_order_and_repeat() {
        let fields = Fields::read(b"gross=24.60&tare=3.6+&gross=%31%32&empty=");
        assert_eq!(fields.get("gross"), "24.60");
        assert_eq!(fields.nth("gross", 1), "12");
        assert_eq!(fields.get("tare"), "3.6");
        assert_eq!(fields.count("gross"), 2);
        for missing in ["empty", "nothing"] {
            assert_eq!(fields.get(missing), "");
        }
    }
}
