-- Forgets every file. What lies in the store is left there.
drop table file_uses, files, upload_parts, uploads, file_room;
