//! Decimals as they travel: strings with a strict form and a bound, never floats, never exponents.

use dropwise_core::worksheets::DecimalText;
use rust_decimal::Decimal;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use utoipa::openapi::schema::{ObjectBuilder, Type};
use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

macro_rules! decimal_value {
    ($(#[$doc:meta])* $name:ident, places $places:literal, from $low:literal to $high:literal, example $example:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(Decimal);

        impl $name {
            /// The checked value.
            ///
            /// # Errors
            /// A sentence, when the number is outside its bounds or has too many decimals.
            pub fn try_new(value: Decimal) -> Result<Self, &'static str> {
                let fits = value >= Decimal::from($low) && value <= Decimal::from($high);
                if !fits {
                    return Err(concat!("must lie from ", stringify!($low), " to ", stringify!($high)));
                }
                if value.normalize().scale() > $places {
                    return Err(concat!("may have at most ", $places, " decimals"));
                }
                Ok(Self(value.normalize()))
            }

            /// The number.
            #[must_use]
            pub const fn get(self) -> Decimal {
                self.0
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                let DecimalText(value) = DecimalText::deserialize(deserializer)?;
                Self::try_new(value).map_err(serde::de::Error::custom)
            }
        }

        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.collect_str(&self.0)
            }
        }

        impl PartialSchema for $name {
            fn schema() -> RefOr<Schema> {
                ObjectBuilder::new()
                    .schema_type(Type::String)
                    .pattern(Some(if $low < 0 { r"^-?\d{1,12}(\.\d{1,6})?$" } else { r"^\d{1,12}(\.\d{1,6})?$" }))
                    .description(Some(concat!("Decimal string with at most ", $places, " decimals, from ",
                        stringify!($low), " to ", stringify!($high), ".")))
                    .examples([serde_json::json!($example)])
                    .build()
                    .into()
            }
        }
        impl ToSchema for $name {}
    };
}

decimal_value! {
    /// How much of something: millilitres, pieces, grams, square metres, minutes, kilometres.
    Quantity, places 4, from 0 to 100_000_000, example "12.5"
}
decimal_value! {
    /// A price, a cost or a wage in the fleet's currency.
    Amount, places 6, from 0 to 100_000_000, example "24.90"
}
decimal_value! {
    /// A part of a whole: 0.18 is 18 %.
    Share, places 6, from 0 to 5, example "0.18"
}

/// A signed figure of the books, going out only.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Figure(pub Decimal);

impl Serialize for Figure {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(&self.0.normalize())
    }
}

impl PartialSchema for Figure {
    fn schema() -> RefOr<Schema> {
        ObjectBuilder::new()
            .schema_type(Type::String)
            .pattern(Some(r"^-?\d+(\.\d+)?$"))
            .description(Some("Exact decimal as a string, with its sign."))
            .examples([serde_json::json!("-3.25")])
            .build()
            .into()
    }
}
impl ToSchema for Figure {}
