package page

// CheckHead stands above every screen of a self-check.
type CheckHead struct {
	Setup, Purpose string
	Minutes        string // left on the internal battery, "" where it does not matter
	Back           string // the screen before
}

// CheckAnswer is one answer: where it leads, and a picture of it.
type CheckAnswer struct {
	Link, Text string
	Figure     string // SVG, "" for none
	Bad        bool
}

// CheckStart asks whether the set-up is recognised, and what the check is for.
type CheckStart struct {
	Frame
	Setup, Panel string
	For          []CheckAnswer
}

// CheckAsk is one question of a self-check.
type CheckAsk struct {
	Frame
	Head    CheckHead
	Again   bool // it was asked before
	How     []string
	Answers []CheckAnswer
	More    string      // where the rarer answers are, "" for none
	Unclear CheckAnswer // no link where the question has no such answer
}

// pictured tells whether the answers are pictures side by side.
func (a CheckAsk) pictured() bool { return len(a.Answers) > 0 && a.Answers[0].Figure != "" }

// Hidden is a value that a form carries along.
type Hidden struct{ Name, Value string }

// CheckCare asks what is asked once.
type CheckCare struct {
	Frame
	Head   CheckHead
	Action string
	Hidden []Hidden
}

// CheckDo is one thing to do.
type CheckDo struct {
	Frame
	Head         CheckHead
	Caution      string
	Alone        bool
	Done, Cannot string
}

// CheckSay is a part of what to say on a call.
type CheckSay struct {
	Title   string
	Lines   []string
	Ordered bool
}

// QR is a code as a path in a square of Size units.
type QR struct {
	Size int
	Path string
}

// CheckEnd is an ending.
type CheckEnd struct {
	Frame
	Head                CheckHead
	Ending              string
	Good, Emergency     bool
	Reason              string      // why it ends so, "" for nothing more to say
	Instead             CheckAnswer // what would let it go on, no link for nothing
	Tells               []string
	Line, Number, Hours string // whom to call; Line is "" where nobody needs to be
	Say                 []CheckSay
	QR                  QR
	QRText              string
	Sent                bool
	Wrong               string // why it was not sent, "" for nothing
	Callback            string
	Action, Key         string
	Hidden              []Hidden
	Again               string
}
