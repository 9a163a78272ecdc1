package main

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"lampwright/lessons"
	"lampwright/lessons/programme"
	"lampwright/lessons/setup"
	"lampwright/locales"
	"lampwright/quiz"
	"lampwright/quiz/diagnosis"
)

type contentCmd struct {
	Check contentCheckCmd `cmd:"" help:"Read everything that is taught, and name what is wrong with it."`
}

type contentCheckCmd struct {
	Programme string   `placeholder:"FILE" help:"A programme file to check as well, - for standard input."`
	Setup     []string `name:"setup" sep:"none" placeholder:"FILE" help:"A set-up file to check as well, against that programme or else the demo's; may be given again."`
}

func (c contentCheckCmd) Run(in io.Reader, out io.Writer) error {
	given, err := c.read(in)
	if err != nil {
		return err
	}
	l := &checklist{out: out}
	taught := l.lessons()
	l.languages()
	p := l.programme("programme", programme.DemoName, programme.DemoFile())
	setups := l.setups(p)
	l.scenarios(setups)
	for _, f := range given {
		if f.programme {
			p = l.programme("programme "+f.name, f.name, f.data)
		} else {
			l.setup("set-up "+f.name, f.name, f.data, p)
		}
	}
	l.line("content", fmt.Sprintf("%d lessons, %d languages, %d set-ups, %d scenarios",
		taught, len(locales.Languages), len(setup.DemoNames), len(quiz.Scenarios)))
	return l.verdict()
}

// given is a file to check as well.
type given struct {
	name      string
	data      []byte
	programme bool
}

// read reads the files that were given, the programme first.
func (c contentCheckCmd) read(in io.Reader) (files []given, err error) {
	if c.Programme != "" {
		f := given{programme: true}
		if f.data, f.name, err = readFile("--programme", "a programme file that can be read", c.Programme, in); err != nil {
			return nil, err
		}
		files = append(files, f)
	}
	for _, file := range c.Setup {
		var f given
		if f.data, f.name, err = readFile("--setup", "a set-up file that can be read", file, in); err != nil {
			return nil, err
		}
		files = append(files, f)
	}
	return files, nil
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
func each(err error) (all []error) {
	joined, ok := err.(interface{ Unwrap() []error })
	if !ok {
		return []error{err}
	}
	for _, e := range joined.Unwrap() {
		all = append(all, each(e)...)
	}
	return all
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

// programme returns a programme, nil where it could not be read.
func (l *checklist) programme(thing, name string, data []byte) *programme.Programme {
	p, err := programme.Read(name, data)
	l.tick(thing, err)
	return p
}

// setup returns a set-up that the programme permits, nil where it could not be
// read or goes against it. Without a programme any may pass.
func (l *checklist) setup(thing, name string, data []byte, p *programme.Programme) *setup.Setup {
	read := setup.Read
	if p != nil {
		read = p.ReadSetup
	}
	s, err := read(name, data)
	l.tick(thing, err)
	return s
}

// setups returns the demo set-ups that are in order.
func (l *checklist) setups(p *programme.Programme) map[string]*setup.Setup {
	read := map[string]*setup.Setup{}
	for _, name := range setup.DemoNames {
		data, err := setup.DemoFile(name)
		if err != nil {
			l.tick("set-up "+name, err)
			continue
		}
		if s := l.setup("set-up "+name, name+".yaml", data, p); s != nil {
			read[name] = s
		}
	}
	return read
}

// scenarios checks each story in each language, and what is drawn for it on
// each set-up.
func (l *checklist) scenarios(setups map[string]*setup.Setup) {
	if all, err := locales.Load(); err == nil {
		for _, sc := range quiz.Scenarios {
			for _, language := range locales.Languages {
				l.tick("story "+sc.ID+", "+language.Tag, story(all, language.Tag, sc.ID))
			}
		}
	}
	for _, name := range setup.DemoNames {
		s, ok := setups[name]
		if !ok {
			continue
		}
		m, err := diagnosis.NewModel(s, nil)
		if err != nil {
			l.tick("diagnosis of "+name, err)
			continue
		}
		for _, sc := range quiz.Scenarios {
			_, err := quiz.Generate(m, sc, quiz.Worked)
			l.tick("scenario "+sc.ID+" on "+name, err)
		}
	}
}

// story checks that a scenario has a title and is told in two sentences; a
// third may say what is in reach.
func story(all *locales.Bundle, tag, id string) (wrong error) {
	all.Report = func(err error) { wrong = err }
	speak := all.Speak(tag)
	speak.T("quiz.scenario." + id + ".title")
	told := speak.T("quiz.scenario." + id + ".story")
	if n := len(sentences(told)); wrong == nil && n != 2 && n != 3 {
		return fmt.Errorf("got %d sentences, expected two, and a third at most for what is in reach: %s", n, told)
	}
	return wrong
}

func sentences(text string) []string {
	return strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune(".!?؟", r) })
}
