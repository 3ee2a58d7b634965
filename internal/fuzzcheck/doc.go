// Package fuzzcheck is what every fuzz target asks of code that reads what strangers send: no more memory than
// its limits allow, and an error of the kind that its callers know how to show.
package fuzzcheck
