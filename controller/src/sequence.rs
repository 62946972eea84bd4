//! Arrays of any length on the wire: a sequence, its length ahead.
//!
//! serde itself knows arrays up to a length; a craft may have any number of rotors.

use heapless::Vec;
use serde::de::Error;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

pub(crate) fn serialize<T: Serialize, W: Serializer, const N: usize>(
    values: &[T; N],
    serializer: W,
) -> Result<W::Ok, W::Error> {
    values.as_slice().serialize(serializer)
}

/// # Errors
/// When there are more or fewer than `N`.
pub(crate) fn deserialize<'de, T: Deserialize<'de>, R: Deserializer<'de>, const N: usize>(
    deserializer: R,
) -> Result<[T; N], R::Error> {
    let values = Vec::<T, N>::deserialize(deserializer)?;
    let count = values.len();
    values.into_array().map_err(|_| Error::invalid_length(count, &"one value a rotor"))
}
