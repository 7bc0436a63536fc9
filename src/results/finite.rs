//! Finds the first number that is not finite, by its key.

use serde::Serialize;
use serde::ser::{Impossible, SerializeSeq, SerializeStruct, SerializeTuple, Serializer};

/// The key of the first number in `value` that is not finite, such as `rates[3].cut.upper`.
pub fn first_not_finite<T: Serialize + ?Sized>(value: &T) -> Option<String> {
    let mut walk = Walk { key: String::new() };
    value.serialize(&mut walk).err().map(|found| found.0)
}

/// The key that was found, carried out as an error.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
struct Found(String);

impl serde::ser::Error for Found {
    fn custom<T: std::fmt::Display>(message: T) -> Self {
        Found(message.to_string())
    }
}

struct Walk {
    key: String,
}

impl Walk {
    fn inside<T: Serialize + ?Sized>(&mut self, part: &str, value: &T) -> Result<(), Found> {
        // One key for the whole walk: one of its own for each number would be made thousands of times and read once at most.
        let length = self.key.len();
        self.key.push_str(part);
        value.serialize(&mut *self)?;
        self.key.truncate(length);
        Ok(())
    }
}

struct Elements<'a> {
    walk: &'a mut Walk,
    next: usize,
}

impl SerializeSeq for Elements<'_> {
    type Ok = ();
    type Error = Found;

    fn serialize_element<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), Found> {
        let index = self.next;
        self.next += 1;
        self.walk.inside(&format!("[{index}]"), value)
    }

    fn end(self) -> Result<(), Found> {
        Ok(())
    }
}

impl SerializeTuple for Elements<'_> {
    type Ok = ();
    type Error = Found;

    fn serialize_element<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), Found> {
        SerializeSeq::serialize_element(self, value)
    }

    fn end(self) -> Result<(), Found> {
        Ok(())
    }
}

impl SerializeStruct for &mut Walk {
    type Ok = ();
    type Error = Found;

    fn serialize_field<T: Serialize + ?Sized>(
        &mut self,
        name: &'static str,
        value: &T,
    ) -> Result<(), Found> {
        let dot = if self.key.is_empty() { "" } else { "." };
        self.inside(&format!("{dot}{name}"), value)
    }

    fn end(self) -> Result<(), Found> {
        Ok(())
    }
}

macro_rules! fine {
    ($($method:ident($($kind:ty)?)),* $(,)?) => {
        $(fn $method(self $(, _: $kind)?) -> Result<(), Found> { Ok(()) })*
    };
}

/// What [`crate::results`] is made of: structs, lists, pairs, options and plain values. Anything else is an error, not a pass.
impl<'a> Serializer for &'a mut Walk {
    type Ok = ();
    type Error = Found;
    type SerializeSeq = Elements<'a>;
    type SerializeStruct = &'a mut Walk;
    type SerializeTuple = Elements<'a>;
    type SerializeTupleStruct = Impossible<(), Found>;
    type SerializeTupleVariant = Impossible<(), Found>;
    type SerializeMap = Impossible<(), Found>;
    type SerializeStructVariant = Impossible<(), Found>;

    fine!(
        serialize_bool(bool),
        serialize_i8(i8),
        serialize_i16(i16),
        serialize_i32(i32),
        serialize_i64(i64),
        serialize_u8(u8),
        serialize_u16(u16),
        serialize_u32(u32),
        serialize_u64(u64),
        serialize_char(char),
        serialize_str(&str),
        serialize_bytes(&[u8]),
        serialize_none(),
        serialize_unit(),
        serialize_unit_struct(&'static str),
    );

    fn serialize_f32(self, value: f32) -> Result<(), Found> {
        self.serialize_f64(f64::from(value))
    }

    fn serialize_f64(self, value: f64) -> Result<(), Found> {
        if value.is_finite() {
            Ok(())
        } else {
            Err(Found(self.key.clone()))
        }
    }

    fn serialize_some<T: Serialize + ?Sized>(self, value: &T) -> Result<(), Found> {
        value.serialize(self)
    }

    fn serialize_seq(self, _: Option<usize>) -> Result<Elements<'a>, Found> {
        Ok(Elements {
            walk: self,
            next: 0,
        })
    }

    fn serialize_struct(self, _: &'static str, _: usize) -> Result<&'a mut Walk, Found> {
        Ok(self)
    }

    fn serialize_newtype_struct<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        value: &T,
    ) -> Result<(), Found> {
        value.serialize(self)
    }

    fn serialize_unit_variant(self, _: &'static str, _: u32, _: &'static str) -> Result<(), Found> {
        Ok(())
    }

    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        _: u32,
        _: &'static str,
        value: &T,
    ) -> Result<(), Found> {
        value.serialize(self)
    }

    fn serialize_tuple(self, length: usize) -> Result<Elements<'a>, Found> {
        self.serialize_seq(Some(length))
    }

    fn serialize_tuple_struct(
        self,
        _: &'static str,
        _: usize,
    ) -> Result<Self::SerializeTupleStruct, Found> {
        Err(Found(self.key.clone()))
    }

    fn serialize_tuple_variant(
        self,
        _: &'static str,
        _: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Self::SerializeTupleVariant, Found> {
        Err(Found(self.key.clone()))
    }

    fn serialize_map(self, _: Option<usize>) -> Result<Self::SerializeMap, Found> {
        Err(Found(self.key.clone()))
    }

    fn serialize_struct_variant(
        self,
        _: &'static str,
        _: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Self::SerializeStructVariant, Found> {
        Err(Found(self.key.clone()))
    }
}
