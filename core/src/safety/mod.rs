//! What the sheet, the standard and the carriage rules say. It informs: the supplier's sheet and
//! label, local codes and licensed practice govern. Never decides for a person.
