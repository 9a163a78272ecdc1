package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"math"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"lampwright/lessons/circuit"
	"lampwright/lessons/setup"
	"lampwright/locales"
)

func TestMain(m *testing.M) {
	testscript.Main(tidy{m}, map[string]func(){"lampwright": main})
}

// tidy gives the built command a folder for as long as the tests run.
type tidy struct{ *testing.M }

var folder string

func (m tidy) Run() int {
	var err error
	if folder, err = os.MkdirTemp("", "lampwright"); err != nil {
		panic(err)
	}
	defer os.RemoveAll(folder)
	return m.M.Run()
}

// The scripts find the demo set-ups in $WORK, and say `exits 2 lampwright …`
// where the exit code matters.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(e *testscript.Env) error {
			for _, name := range setup.DemoNames {
				data, err := setup.DemoFile(name)
				if err != nil {
					return err
				}
				if err := os.WriteFile(filepath.Join(e.WorkDir, name+".yaml"), data, 0o644); err != nil {
					return err
				}
			}
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"exits": exits, "signed": signed, "newest": newest, "served": served},
	})
}

func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE COMMAND ...")
	}
	got := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		var exit *exec.ExitError
		if !errors.As(err, &exit) {
			ts.Fatalf("%v", err)
		}
		got = exit.ExitCode()
	}
	if strconv.Itoa(got) != args[0] {
		ts.Fatalf("exit code %d, want %s", got, args[0])
	}
}

// served is `served PATH FILE FLAG ...`: serve is started with the flags, and
// what it answers at a path is kept in a file.
func served(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: served PATH FILE FLAG ...")
	}
	file, err := built()
	ts.Check(err)
	cmd := exec.Command(file, append([]string{"serve", "--listen", "127.0.0.1:0"}, args[2:]...)...)
	cmd.Dir = ts.MkAbs(".")
	out, err := cmd.StdoutPipe()
	ts.Check(err)
	ts.Check(cmd.Start())
	defer cmd.Wait()         //nolint:errcheck // how it ends is not asked here
	defer cmd.Process.Kill() //nolint:errcheck // it may have ended
	line, err := bufio.NewReader(out).ReadString('\n')
	ts.Check(err)
	res, err := http.Get(strings.TrimSpace(strings.TrimPrefix(line, "Open ")) + args[0])
	ts.Check(err)
	defer res.Body.Close()
	page, err := io.ReadAll(res.Body)
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), page, 0o644))
	ts.Check(cmd.Process.Signal(syscall.SIGTERM))
	ts.Check(cmd.Wait())
}

// built is the command as it is shipped.
var built = sync.OnceValues(func() (string, error) {
	file := filepath.Join(folder, "lampwright")
	out, err := exec.Command("go", "build", "-o", file, ".").CombinedOutput()
	if err != nil {
		return "", errors.New(string(out))
	}
	return file, nil
})

// ask runs the built command.
func ask(t *testing.T, in string, args ...string) (out, problems string, code int) {
	t.Helper()
	file, err := built()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(file, args...)
	var stdout, stderr bytes.Buffer
	cmd.Stdin, cmd.Stdout, cmd.Stderr = strings.NewReader(in), &stdout, &stderr
	err = cmd.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatal(err)
	}
	return stdout.String(), stderr.String(), cmd.ProcessState.ExitCode()
}

func demoFile(t *testing.T, name string) string {
	t.Helper()
	data, err := setup.DemoFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

func TestExitCodes(t *testing.T) {
	tests := map[string]struct {
		args string
		code int
	}{
		"an answer":               {"solve --setup - --json", 0},
		"a netlist":               {"netlist --setup -", 0},
		"content":                 {"content check", 0},
		"help":                    {"solve --help", 0},
		"no command":              {"", 2},
		"an unknown command":      {"version", 2},
		"an unknown flag":         {"solve --setup - --colour red", 2},
		"a missing flag":          {"solve", 2},
		"a value that is none":    {"solve --setup - --load NaN", 2},
		"a value out of range":    {"solve --setup - --chair-charge 2", 2},
		"a value of another kind": {"solve --setup - --mains maybe", 2},
		"an unknown part":         {"solve --setup - --fault nowhere=open", 2},
		"a missing file":          {"netlist --setup nowhere.yaml", 2},
	}
	in := demoFile(t, "chair-12")
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			out, problems, code := ask(t, in, strings.Fields(test.args)...)
			if code != test.code {
				t.Errorf("exit code %d, want %d\n%s", code, test.code, problems)
			}
			if (code == 0) != (problems == "") || (code == 0) != (out != "") {
				t.Errorf("printed %q, and problems %q", out, problems)
			}
		})
	}
}

func TestFullDiskIsAFailure(t *testing.T) {
	full, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	if err != nil {
		t.Skip("there is no /dev/full here")
	}
	defer full.Close()
	for _, args := range []string{"solve --setup - --json", "solve --setup -", "netlist --setup -", "content check"} {
		var problems strings.Builder
		code := run(strings.Fields(args), strings.NewReader(demoFile(t, "chair-12")), full, &problems)
		if code != exitFailure || !strings.Contains(problems.String(), "no space left") {
			t.Errorf("%s: exit code %d, %q", args, code, &problems)
		}
	}
}

// What the command prints is what the circuit says, for every single fault.
func TestSolveAgreesWithTheCircuit(t *testing.T) {
	for _, name := range setup.DemoNames {
		s, err := setup.Demo(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, fault := range s.Faults() {
			var out, problems strings.Builder
			if code := run([]string{"solve", "--setup", "-", "--fault", fault.String(), "--json"}, strings.NewReader(demoFile(t, name)), &out, &problems); code != 0 {
				t.Fatalf("%s, %s: exit code %d, %s", name, fault, code, &problems)
			}
			var got answer
			dec := json.NewDecoder(strings.NewReader(out.String()))
			dec.DisallowUnknownFields()
			if err := dec.Decode(&got); err != nil || strings.Contains(out.String(), "null") {
				t.Fatalf("%s, %s: %v in %s", name, fault, err, &out)
			}
			st, err := circuit.Solve(s, circuit.Usual(fault))
			if err != nil {
				t.Fatal(err)
			}
			if got.State != st.Kind || got.Source != st.Source || got.Alarm != st.Alarm || got.Amps != st.Amps || got.Watts != st.Watts {
				t.Errorf("%s, %s: printed %s", name, fault, &out)
			}
			for i, n := range st.Nodes {
				if got.Nodes[i].ID != n.ID || got.Nodes[i].Volts != n.Volts {
					t.Errorf("%s, %s: printed %v, solved %v", name, fault, got.Nodes[i], n)
				}
			}
			for i, in := range st.Panel {
				if got.Panel[i].ID != in.ID || got.Panel[i].Lit != in.Lit {
					t.Errorf("%s, %s: printed %v, solved %v", name, fault, got.Panel[i], in)
				}
			}
		}
	}
}

// Nothing to list is an empty list, never null.
func TestEmptyAnswer(t *testing.T) {
	var out strings.Builder
	a := newAnswer(&setup.Setup{}, &circuit.State{Kind: circuit.Steady, Source: setup.None, Alarm: setup.NoAlarm}, nil, locales.Speaker{})
	if err := a.writeJSON(&out); err != nil {
		t.Fatal(err)
	}
	want := `{"state":"steady","source":"none","nodes":[],"amps":0,"watts":0,"panel":[],"alarm":"none","readings":[]}` + "\n"
	if out.String() != want {
		t.Errorf("got %s want %s", &out, want)
	}
}

var printed = regexp.MustCompile(`(?m)^v\((\w+)\) = (\S+)`)

// ngspice, given what netlist writes, finds the volts that solve prints.
func TestNetlistAgreesWithSolve(t *testing.T) {
	ngspice, err := exec.LookPath("ngspice")
	if err != nil {
		if strings.Contains(os.Getenv("LAMPWRIGHT_REQUIRE"), "ngspice") {
			t.Fatal(err)
		}
		t.Skip("ngspice is not installed; cmd/check installs it")
	}
	tests := map[string][]string{
		"nothing wrong":        {"chair-12"},
		"mains, charging":      {"chair-12", "--mains", "on", "--charger", "on"},
		"a warm joint":         {"chair-12", "--fault", "joint-battery=high-resistance:0.5", "--load", "35", "--temperature", "-10"},
		"comes and goes":       {"chair-12", "--fault", "joint-battery=high-resistance:6"},
		"collapsed":            {"chair-7", "--fault", "joint-battery=half-home"},
		"one block, half full": {"chair-7", "--chair-charge", "0.5"},
		"two faults":           {"chair-21", "--fault", "fuse=holder-heated:0.2", "--fault", "plug=half-home"},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			in, args := demoFile(t, test[0]), append([]string{"--setup", "-"}, test[1:]...)
			deck, problems, code := ask(t, in, append([]string{"netlist"}, args...)...)
			if code != 0 {
				t.Fatal(problems)
			}
			cmd := exec.Command(ngspice, "-b")
			cmd.Stdin = strings.NewReader(deck)
			out, err := cmd.CombinedOutput()
			if err != nil {
				t.Fatalf("%v\n%s\n%s", err, deck, out)
			}
			volts := map[string]float64{}
			for _, m := range printed.FindAllStringSubmatch(string(out), -1) {
				if volts[m[1]], err = strconv.ParseFloat(m[2], 64); err != nil {
					t.Fatal(err)
				}
			}
			text, problems, code := ask(t, in, append([]string{"solve", "--json"}, args...)...)
			var a answer
			if err := json.Unmarshal([]byte(text), &a); err != nil || code != 0 {
				t.Fatal(err, problems)
			}
			if len(a.Nodes) == 0 {
				t.Fatal("no nodes")
			}
			for _, n := range a.Nodes {
				if v, ok := volts[circuit.SpiceName(n.ID)]; !ok || math.Abs(v-n.Volts) > 1e-4 {
					t.Errorf("%s: solve %.9g V, ngspice %.9g (printed %t)", n.ID, n.Volts, v, ok)
				}
			}
		})
	}
}

func TestChecklistNamesEveryProblem(t *testing.T) {
	var out strings.Builder
	l := &checklist{out: &out}
	_, first := setup.Read("one.yaml", []byte("schema: 1\ntag: 7 V\ncolour: red\n"))
	l.tick("set-ups", errors.Join(first, errors.New("two.md:4: got nothing, expected a title")))
	l.tick("messages", nil)
	if err := l.verdict(); err == nil || err.Error() != "content: 2 wrong" {
		t.Errorf("verdict %v", err)
	}
	for _, want := range []string{"set-ups: one.yaml:3: got ", "set-ups: two.md:4: got nothing", "messages: ok\n"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q lacks %q", out.String(), want)
		}
	}
}
