//! Objects by their names alone. What `serde` derives for a struct would also take a list of its values in order, where a field put in
//! between goes unnoticed.

use std::fmt;
use std::marker::PhantomData;

use serde::Deserialize;
use serde::de::value::MapAccessDeserializer;
use serde::de::{Deserializer, MapAccess, Visitor};

/// A `T` that was written as an object.
pub(super) struct Object<T>(pub(super) T);

impl<'de, T: Deserialize<'de>> Deserialize<'de> for Object<T> {
    fn deserialize<D: Deserializer<'de>>(reader: D) -> Result<Self, D::Error> {
        reader.deserialize_map(Named(PhantomData)).map(Self)
    }
}

struct Named<T>(PhantomData<T>);

impl<'de, T: Deserialize<'de>> Visitor<'de> for Named<T> {
    type Value = T;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("an object")
    }

    fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<T, A::Error> {
        T::deserialize(MapAccessDeserializer::new(map))
    }
}

/// A field that is an object.
pub(super) fn object<'de, D: Deserializer<'de>, T: Deserialize<'de>>(reader: D) -> Result<T, D::Error> {
    Object::deserialize(reader).map(|Object(one)| one)
}

/// A field that is an object, or `null`.
pub(super) fn object_if_any<'de, D: Deserializer<'de>, T: Deserialize<'de>>(reader: D) -> Result<Option<T>, D::Error> {
    Option::<Object<T>>::deserialize(reader).map(|any| any.map(|Object(one)| one))
}

/// A field that is a list of objects.
pub(super) fn objects<'de, D: Deserializer<'de>, T: Deserialize<'de>>(reader: D) -> Result<Vec<T>, D::Error> {
    Vec::<Object<T>>::deserialize(reader).map(|all| all.into_iter().map(|Object(one)| one).collect())
}
