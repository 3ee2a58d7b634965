// Package licences holds the licence texts of everything that is in the program: the modules that it is built
// from, Go itself, the boolean library, and what the page of the web app uses. Their licences ask that the
// texts come along; a binary is often all that somebody has.
//
// texts.json is made by `make licences` (the program in gather) and kept with the sources, so that every build
// has it. A test walks the modules and the page's packages and finds each.
package licences
