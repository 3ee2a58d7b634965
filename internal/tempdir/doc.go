// Package tempdir keeps what a process puts into the system's folder for temporary files in one folder of
// its own, and clears the folders that dead processes left there: a part is somebody's work, and must not
// lie about because a server was killed.
//
//	dir, err := tempdir.Make("uploads") // clears what is dead the first time
//	…
//	defer tempdir.Close()
//
// A folder belongs to the living while its lock is held. The system drops the lock when the process ends,
// however it ends.
package tempdir
