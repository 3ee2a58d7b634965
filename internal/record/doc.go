// Package record keeps what happened at the bench: moulds, lots of material, mixes, runs of the
// steps with their sign-offs, castings with their defects and photos. It writes to an embedded SQLite
// file, or to PostgreSQL for a team, by the same migrations and the same code.
//
//	s, err := record.Open(ctx, "shop/records.db", record.Options{})
//	defer s.Close()
//	err = s.Write(ctx, record.Entry{Operator: "Kim"}, func(tx *record.Tx) error {
//		return tx.Add(&record.Mould{Job: "foot-ring", Version: "2", MadeOn: "2026-03-01", ExpectedShots: 60})
//	})
//
// Promises:
//   - When Write returns nil, all of it is on the disk; when it does not, none of it is, save where
//     the answer of a database server was lost on the way (Entry.Key makes a second try harmless).
//   - Nothing is overwritten unseen: every record added or corrected is an event that stays, with who,
//     when and why. Events are chained by checksum; Verify replays them against the tables.
//   - A skipped step needs a reason and a name, and nothing may be signed past a hard stop that is not.
//
// Times are UTC; dates are "2006-01-02" in the shop's own calendar; units are in the names.
package record
