// Command load asks a server of this program as many as 200 people at once would, and more: 200 clients on
// loopback, each sending its next request as soon as the last is answered. The folder holds the demo's foot
// ring with all its results, a part of a million facets, a batch with a plan, and records. Clients look at
// pages, geometry, plans, sheets, records and batches, and sign the steps of runs of their own.
//
// Every answer is looked at: its status, that what does not change comes back with the same bytes each time,
// and that each signature is there afterwards, once. It prints answers, errors, times and the server's
// largest memory, and ends with 1 on any error:
//
//	go run ./bench/load              60 s, 200 clients
//	go run ./bench/load -for 10s -clients 20
//
// Each client has an address of its own (127.1.0.1 and on), as people at a workshop's machines would, so
// that the limits on one client are in force as they are for those. That works on Linux alone.
package main
