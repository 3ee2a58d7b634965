// Package sqlitefile opens an SQLite file as the records and the line of work both need it: one connection
// that writes, some that only read.
//
//	write, read, err := sqlitefile.Open(ctx, "jobs/records.db", sqlitefile.Full)
package sqlitefile
