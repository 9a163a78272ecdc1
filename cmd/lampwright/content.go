package main

import (
	"errors"
	"fmt"
	"io"

	"lampwright/lessons"
	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/quiz"
)

type contentCmd struct {
	Check contentCheckCmd `cmd:"" help:"Read everything that is taught, and name what is wrong with it."`
}

type contentCheckCmd struct{}

func (contentCheckCmd) Run(out io.Writer) error {
	l := &checklist{out: out}
	taught := l.lessons()
	l.languages()
	setups := l.setups()
	l.scenarios(setups)
	l.line("content", fmt.Sprintf("%d lessons, %d languages, %d set-ups, %d scenarios",
		taught, len(locales.Languages), len(setup.DemoNames), len(quiz.Scenarios)))
	return l.verdict()
}

// checklist prints a line for each thing checked and counts what is wrong.
type checklist struct {
	out   io.Writer
	wrong int
	err   error // of writing
}

func (l *checklist) tick(thing string, err error) {
	if err == nil {
		l.line(thing, "ok")
		return
	}
	for _, e := range each(err) {
		l.wrong++
		l.line(thing, plain(e))
	}
}

func (l *checklist) line(thing, verdict string) {
	if _, err := fmt.Fprintf(l.out, "%s: %s\n", thing, verdict); err != nil {
		l.err = err
	}
}

// each parts errors that were joined.
func each(err error) []error {
	if joined, ok := err.(interface{ Unwrap() []error }); ok {
		return joined.Unwrap()
	}
	return []error{err}
}

func (l *checklist) verdict() error {
	if l.wrong > 0 {
		return fmt.Errorf("content: %d wrong", l.wrong)
	}
	return l.err
}

// lessons checks each lesson in each language and returns how many there are.
// A translation that is missing or outdated is said, and shown in English.
func (l *checklist) lessons() int {
	c, err := lessons.Load()
	l.tick("lessons", err)
	if err != nil {
		return 0
	}
	ids := append(c.IDs(), lessons.StoppedID)
	for _, id := range ids {
		for _, language := range locales.Languages {
			thing := "lesson " + id + ", " + language.Tag
			switch lesson, ok := c.Lesson(id, language.Tag); {
			case !ok:
				l.tick(thing, errors.New("got nothing, expected a lesson"))
			case lesson.Notice != "":
				l.line(thing, string(lesson.Notice)+", shown in English")
			default:
				l.tick(thing, nil)
			}
		}
	}
	return len(ids)
}

func (l *checklist) languages() {
	_, err := locales.Load()
	l.tick("messages", err)
}

// setups returns the demo set-ups that could be read.
func (l *checklist) setups() map[string]*setup.Setup {
	read := map[string]*setup.Setup{}
	for _, name := range setup.DemoNames {
		s, err := setup.Demo(name)
		l.tick("set-up "+name, err)
		if err == nil {
			read[name] = s
		}
	}
	return read
}

func (l *checklist) scenarios(setups map[string]*setup.Setup) {
	for _, sc := range quiz.Scenarios {
		for _, name := range setup.DemoNames {
			if s, ok := setups[name]; ok {
				_, err := sc.Start(s)
				l.tick("scenario "+sc.ID+" on "+name, err)
			}
		}
	}
}
