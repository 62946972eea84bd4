//! A record as a list of named values, each with its bits: to say which field of two records differs.

use std::fmt::Display;

use serde::ser::{
    Error, Impossible, Serialize, SerializeSeq, SerializeStruct, SerializeStructVariant, SerializeTuple,
    SerializeTupleStruct, SerializeTupleVariant, Serializer,
};

/// One value of a record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Field {
    /// Where it stands, as in `control.allocation.thrusts_n[0]`.
    pub path: String,
    /// What it says, with its bits where it is a floating-point number.
    pub value: String,
}

/// Every value of a record, in the order in which it is sent.
pub fn fields(record: &impl Serialize) -> Vec<Field> {
    let mut gather = Gather { path: Vec::new(), found: Vec::new() };
    // Records have no maps and no bytes, and nothing else is an error.
    let _ = record.serialize(&mut gather);
    gather.found
}

struct Gather {
    path: Vec<String>,
    found: Vec<Field>,
}

impl Gather {
    fn leaf(&mut self, value: impl Display) -> Result<(), Unknown> {
        self.found.push(Field { path: self.path.concat(), value: value.to_string() });
        Ok(())
    }

    fn named<T: Serialize + ?Sized>(&mut self, name: &str, value: &T) -> Result<(), Unknown> {
        let dot = if self.path.is_empty() { "" } else { "." };
        self.below(format!("{dot}{name}"), value)
    }

    fn below<T: Serialize + ?Sized>(&mut self, step: String, value: &T) -> Result<(), Unknown> {
        self.path.push(step);
        let result = value.serialize(&mut *self);
        self.path.pop();
        result
    }
}

/// A kind of value that records do not have.
#[derive(Debug)]
struct Unknown;

impl Display for Unknown {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("a kind of value that records do not have")
    }
}

impl std::error::Error for Unknown {}

impl Error for Unknown {
    fn custom<T: Display>(_: T) -> Self {
        Unknown
    }
}

/// Elements of a list, counted from 0.
struct Elements<'a> {
    gather: &'a mut Gather,
    next: usize,
}

impl Elements<'_> {
    fn element<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), Unknown> {
        let step = format!("[{}]", self.next);
        self.next += 1;
        self.gather.below(step, value)
    }
}

macro_rules! leaves {
    ($($call:ident: $kind:ty),*) => {
        $(fn $call(self, value: $kind) -> Result<(), Unknown> {
            self.leaf(value)
        })*
    };
}

impl<'a> Serializer for &'a mut Gather {
    type Ok = ();
    type Error = Unknown;
    type SerializeSeq = Elements<'a>;
    type SerializeTuple = Elements<'a>;
    type SerializeTupleStruct = Elements<'a>;
    type SerializeTupleVariant = Elements<'a>;
    type SerializeMap = Impossible<(), Unknown>;
    type SerializeStruct = &'a mut Gather;
    type SerializeStructVariant = &'a mut Gather;

    leaves! {
        serialize_bool: bool, serialize_i8: i8, serialize_i16: i16, serialize_i32: i32, serialize_i64: i64,
        serialize_u8: u8, serialize_u16: u16, serialize_u32: u32, serialize_u64: u64, serialize_char: char,
        serialize_str: &str
    }

    fn serialize_f32(self, value: f32) -> Result<(), Unknown> {
        self.leaf(format_args!("{value:?} (bits {:08x})", value.to_bits()))
    }

    fn serialize_f64(self, value: f64) -> Result<(), Unknown> {
        self.leaf(format_args!("{value:?} (bits {:016x})", value.to_bits()))
    }

    fn serialize_bytes(self, _: &[u8]) -> Result<(), Unknown> {
        Err(Unknown)
    }

    fn serialize_none(self) -> Result<(), Unknown> {
        self.leaf("none")
    }

    fn serialize_some<T: Serialize + ?Sized>(self, value: &T) -> Result<(), Unknown> {
        value.serialize(self)
    }

    fn serialize_unit(self) -> Result<(), Unknown> {
        self.leaf("()")
    }

    fn serialize_unit_struct(self, name: &'static str) -> Result<(), Unknown> {
        self.leaf(name)
    }

    fn serialize_unit_variant(self, _: &'static str, _: u32, variant: &'static str) -> Result<(), Unknown> {
        self.leaf(variant)
    }

    fn serialize_newtype_struct<T: Serialize + ?Sized>(self, _: &'static str, value: &T) -> Result<(), Unknown> {
        value.serialize(self)
    }

    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        _: u32,
        variant: &'static str,
        value: &T,
    ) -> Result<(), Unknown> {
        self.named(variant, value)
    }

    fn serialize_seq(self, _: Option<usize>) -> Result<Elements<'a>, Unknown> {
        Ok(Elements { gather: self, next: 0 })
    }

    fn serialize_tuple(self, _: usize) -> Result<Elements<'a>, Unknown> {
        Ok(Elements { gather: self, next: 0 })
    }

    fn serialize_tuple_struct(self, _: &'static str, _: usize) -> Result<Elements<'a>, Unknown> {
        Ok(Elements { gather: self, next: 0 })
    }

    fn serialize_tuple_variant(
        self,
        _: &'static str,
        _: u32,
        variant: &'static str,
        _: usize,
    ) -> Result<Elements<'a>, Unknown> {
        self.leaf(variant)?;
        Ok(Elements { gather: self, next: 0 })
    }

    fn serialize_map(self, _: Option<usize>) -> Result<Self::SerializeMap, Unknown> {
        Err(Unknown)
    }

    fn serialize_struct(self, _: &'static str, _: usize) -> Result<&'a mut Gather, Unknown> {
        Ok(self)
    }

    fn serialize_struct_variant(
        self,
        _: &'static str,
        _: u32,
        variant: &'static str,
        _: usize,
    ) -> Result<&'a mut Gather, Unknown> {
        self.leaf(variant)?;
        Ok(self)
    }
}

macro_rules! elements {
    ($($kind:ident: $call:ident),*) => {
        $(impl $kind for Elements<'_> {
            type Ok = ();
            type Error = Unknown;

            fn $call<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), Unknown> {
                self.element(value)
            }

            fn end(self) -> Result<(), Unknown> {
                Ok(())
            }
        })*
    };
}

elements! {
    SerializeSeq: serialize_element, SerializeTuple: serialize_element, SerializeTupleStruct: serialize_field,
    SerializeTupleVariant: serialize_field
}

macro_rules! structs {
    ($($kind:ident),*) => {
        $(impl $kind for &mut Gather {
            type Ok = ();
            type Error = Unknown;

            fn serialize_field<T: Serialize + ?Sized>(&mut self, name: &'static str, value: &T) -> Result<(), Unknown> {
                self.named(name, value)
            }

            fn end(self) -> Result<(), Unknown> {
                Ok(())
            }
        })*
    };
}

structs! { SerializeStruct, SerializeStructVariant }
