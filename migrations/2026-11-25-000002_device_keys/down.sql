alter table sessions drop column unproven_at, drop column device_key;
alter table lanes drop column device_key;
