package picture

import "fmt"

// Code tells a program what an Error is about.
type Code string

const (
	NotAPicture Code = "not-a-picture" // nothing that is known as a picture
	Unsupported Code = "unsupported"   // a picture, in a form that is not read here
	TooLarge    Code = "too-large"     // more pixels, bytes or work than allowed
	TooSmall    Code = "too-small"     // no use to a reader
	Damaged     Code = "damaged"       // cut short or broken
	BadRecipe   Code = "bad-recipe"    // the recipe cannot be followed
)

// Error is what is wrong with an original or a recipe, for a program and for a
// person. It quotes nothing of the original's contents.
type Error struct {
	Code    Code
	Message string // what is wrong, without a full stop
	Remedy  string // what to do about it, without a full stop

	cause error
}

// Error returns the message and the remedy as one sentence.
func (e *Error) Error() string { return e.Message + "; " + e.Remedy }

// Unwrap returns the decoder's own account, where there is one.
func (e *Error) Unwrap() error { return e.cause }

func damaged(what string, cause error) *Error {
	return &Error{
		Code:    Damaged,
		Message: fmt.Sprintf("this %s file is damaged or cut short", what),
		Remedy:  "copy it from the camera or phone again",
		cause:   cause,
	}
}

func unsupported(message, remedy string) *Error {
	return &Error{Code: Unsupported, Message: message, Remedy: remedy}
}
