// Package noninterference holds the product to its promise: change any private
// field that is neither a released fact nor movement, and what leaves is the same
// bytes or none. It holds tests only; the long form is
//
//	scripts/noninterference
//
// A test makes a small workshop, has it decide, freeze, send and publish, then
// changes private things by the batch and does the same work again. What leaves is
// compared byte for byte: cards in either language, caution strips, the edition's letter with its pictures, the
// archive, and the conversation with the mail server. Names, sizes, dates and the
// order of things count, since each of them can tell.
//
// It must not know how any output is made: it works the command line as a person
// does, and looks at what comes out.
package noninterference
