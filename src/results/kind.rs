//! Controllers by their fixed names in every file.

use std::borrow::Cow;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

use crate::model::controller::Kind;

impl Serialize for Kind {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.name())
    }
}

impl<'de> Deserialize<'de> for Kind {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let name = Cow::<str>::deserialize(deserializer)?;
        Kind::from_name(&name).ok_or_else(|| de::Error::unknown_variant(&name, &Kind::NAMES))
    }
}

impl JsonSchema for Kind {
    fn schema_name() -> Cow<'static, str> {
        "Controller".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "description": "A controller by its fixed name.",
            "type": "string",
            "enum": Kind::NAMES,
        })
    }
}
