//! One SQL statement with typed binds that the driver prepares once and keeps.
//!
//! Diesel never keeps `sql_query` nor many-row inserts; these statements take whole columns as arrays
//! (`unnest`), so that five hundred rows cost one round trip and one prepared plan.

/// Declares a statement as a struct: its binds are the fields, its text alternates SQL and binds.
///
/// ```ignore
/// statement! {
///     /// What it does.
///     struct Touch { fleet: Uuid, ids: Vec<Uuid> }
///     = "update t set seen = true where fleet_id = " [fleet: sql::Uuid] " and id = any(" [ids: sql::Array<sql::Uuid>] ")"
/// }
/// ```
macro_rules! statement {
    (
        $(#[$doc:meta])*
        struct $name:ident { $($field:ident: $ty:ty),* $(,)? } $(-> $out:ty)?
        = $($text:literal $([$bind:ident: $sql_ty:ty])?)*
    ) => {
        $(#[$doc])*
        pub(super) struct $name {
            $(pub(super) $field: $ty,)*
        }

        impl diesel::query_builder::QueryId for $name {
            type QueryId = $name;
            const HAS_STATIC_QUERY_ID: bool = true;
        }

        impl diesel::query_builder::QueryFragment<diesel::pg::Pg> for $name {
            fn walk_ast<'b>(
                &'b self,
                mut out: diesel::query_builder::AstPass<'_, 'b, diesel::pg::Pg>,
            ) -> diesel::QueryResult<()> {
                $(
                    out.push_sql($text);
                    $(out.push_bind_param::<$sql_ty, _>(&self.$bind)?;)?
                )*
                Ok(())
            }
        }

        $(
            impl diesel::query_builder::Query for $name {
                type SqlType = $out;
            }
        )?

        impl<C> diesel::query_dsl::RunQueryDsl<C> for $name {}
    };
}
