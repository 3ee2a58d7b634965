// Package shopsheet lays a plan of steps out on paper: what to weigh, the mould in brief with a sketch
// of its parting face, the steps with their quantities, timers, hard stops and a place to sign, and a
// QR code that leads to the same steps on a phone.
//
//	pages, err := shopsheet.Pages(shopsheet.Content{Report: rep, Plan: plan, Link: url}, shopsheet.Options{})
//	err = sheet.WritePDF(w, pages...)
//
// Pages are upright, A4 or Letter. Letters are at least 1.8 mm high, so that a sheet can be read at arm's
// length under a bench lamp. The same input gives the same bytes.
package shopsheet
