package channel

import "context"

// Form is what a person fills in as a whole: a round of readings, a booking.
type Form struct {
	ID     string // what it is about; comes back with the submission
	Title  string // short: 24 characters
	Intro  string // what it is for, one or two lines
	Submit string // label of the button that hands it in
	Cancel string // and of the one that leaves it
	Fields []Field
}

// Field is one line of a form.
type Field struct {
	ID    string
	Label string // with the unit that a bare number is taken in
	Hint  string // last value and the like
	Value string // filled in beforehand
	Kind  FieldKind
	Must  bool // may not be left empty
}

// FieldKind says what is written into a field.
type FieldKind int

// Kinds of fields.
const (
	FieldText FieldKind = iota
	FieldDate           // 2006-01-02
	FieldTime           // 15:04
)

// Submission is a form handed in. From tells who did it and where the answer
// goes; its ID is the same however often the same form is handed in.
type Submission struct {
	From   Message
	Form   string            // Form.ID
	Values map[string]string // by field; what was left empty may be missing
}

// Page is what a person sees of their own affairs.
type Page struct {
	Sections []Section
	Choices  []Choice
}

// Section is a part of a page.
type Section struct{ Title, Text string }

// FormHandler is a Handler that has forms, and a page for each person. Errors
// are as those of Handler.
type FormHandler interface {
	Handler
	// FormFor is the form that a message asks for, nil if it asks for none or the
	// person may not fill it in: then HandleMessage says what there is to say.
	FormFor(ctx context.Context, m Message) (*Form, error)
	// OpenForm is the form behind a button whose action is ActionForm; nil as in
	// FormFor: then HandlePress says why.
	OpenForm(ctx context.Context, p Press) (*Form, error)
	// SubmitForm takes a form to its end, or says what is wrong by field: then
	// nothing was recorded and the person can mend it.
	SubmitForm(ctx context.Context, s Submission) (faults map[string]string, err error)
	// Page is what concerns a person today.
	Page(ctx context.Context, m Message) (*Page, error)
}

// ActionForm is the action of a button that opens a form.
const ActionForm = "form"
