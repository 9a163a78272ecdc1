package main

import (
	"strings"
	"testing"
)

func TestReadTests(t *testing.T) {
	tests := map[string]struct {
		stream string
		want   counts
		shows  []string
		hides  []string
	}{
		"tests and subtests count, packages do not": {
			stream: `
{"Action":"start","Package":"m/a"}
{"Action":"run","Package":"m/a","Test":"TestA"}
{"Action":"pass","Package":"m/a","Test":"TestA/lit"}
{"Action":"pass","Package":"m/a","Test":"TestA"}
{"Action":"pass","Package":"m/a","Elapsed":0.1}
{"Action":"output","Package":"m/d","Output":"?   \tm/d\t[no test files]\n"}
{"Action":"skip","Package":"m/d"}`,
			want: counts{passed: 2},
		},
		"a failing subtest fails its parent, and only what failed is shown": {
			stream: `
{"Action":"output","Package":"m/a","Test":"TestA","Output":"=== RUN   TestA\n"}
{"Action":"output","Package":"m/a","Test":"TestA/lit","Output":"    a_test.go:3: all is well\n"}
{"Action":"pass","Package":"m/a","Test":"TestA/lit"}
{"Action":"output","Package":"m/a","Test":"TestA/dark","Output":"    a_test.go:9: the lamp is out\n"}
{"Action":"fail","Package":"m/a","Test":"TestA/dark"}
{"Action":"output","Package":"m/a","Test":"TestA","Output":"--- FAIL: TestA (0.00s)\n"}
{"Action":"fail","Package":"m/a","Test":"TestA"}
{"Action":"output","Package":"m/a","Output":"FAIL\tm/a\t0.002s\n"}
{"Action":"fail","Package":"m/a"}`,
			want:  counts{passed: 1, failed: 2},
			shows: []string{"the lamp is out", "--- FAIL: TestA"},
			hides: []string{"all is well", "=== RUN"},
		},
		"a package that does not build is one failure, with the compiler's words": {
			stream: `
{"ImportPath":"m/b [m/b.test]","Action":"build-output","Output":"b/b.go:2:23: cannot use \"x\"\n"}
{"ImportPath":"m/b [m/b.test]","Action":"build-fail"}
{"Action":"start","Package":"m/b"}
{"Action":"output","Package":"m/b","Output":"FAIL\tm/b [build failed]\n"}
{"Action":"fail","Package":"m/b","FailedBuild":"m/b [m/b.test]"}`,
			want:  counts{failed: 1},
			shows: []string{`cannot use "x"`, "[build failed]"},
		},
		"a test that ends the process is one failure": {
			stream: `
{"Action":"pass","Package":"m/c","Test":"TestB"}
{"Action":"output","Package":"m/c","Test":"TestC","Output":"about to leave\n"}
{"Action":"output","Package":"m/c","Output":"FAIL\tm/c\t0.006s\n"}
{"Action":"fail","Package":"m/c"}`,
			want:  counts{passed: 1, failed: 1},
			shows: []string{"about to leave"},
		},
		"a skip for want of a browser is a failure": {
			stream: `
{"Action":"output","Package":"m/a","Test":"TestPage","Output":"=== RUN   TestPage\n"}
{"Action":"output","Package":"m/a","Test":"TestPage","Output":"    a_test.go:3: no Chromium here\n"}
{"Action":"output","Package":"m/a","Test":"TestPage","Output":"--- SKIP: TestPage (0.00s)\n"}
{"Action":"skip","Package":"m/a","Test":"TestPage"}
{"Action":"pass","Package":"m/a"}`,
			want:  counts{failed: 1},
			shows: []string{"TestPage was skipped, and must not be", "no Chromium here"},
		},
		"other skips are skips, whatever the test is called": {
			stream: `
{"Action":"output","Package":"m/a","Test":"TestBrowserSoak","Output":"    a_test.go:3: only as root\n"}
{"Action":"output","Package":"m/a","Test":"TestBrowserSoak","Output":"--- SKIP: TestBrowserSoak (0.00s)\n"}
{"Action":"skip","Package":"m/a","Test":"TestBrowserSoak"}
{"Action":"output","Package":"m/a","Test":"TestLong","Output":"    a_test.go:9: every page in the browser: set LAMPWRIGHT_LONG=1\n"}
{"Action":"skip","Package":"m/a","Test":"TestLong"}`,
			want: counts{skipped: 2},
		},
		"words that are not JSON are kept": {
			stream: "go: cannot find main module\n",
			shows:  []string{"cannot find main module"},
		},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			r := readTests([]byte(strings.TrimSpace(test.stream) + "\n"))
			if r.counts != test.want {
				t.Errorf("counted %v, want %v", r.counts, test.want)
			}
			for _, want := range test.shows {
				if !strings.Contains(r.output, want) {
					t.Errorf("no %q in:\n%s", want, r.output)
				}
			}
			for _, unwanted := range test.hides {
				if strings.Contains(r.output, unwanted) {
					t.Errorf("%q in:\n%s", unwanted, r.output)
				}
			}
		})
	}
}
