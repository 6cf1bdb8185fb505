package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func protocolOutput(t *testing.T, args ...string) (out, errs string, code int) {
	t.Helper()
	var o, e bytes.Buffer
	code = Main(append([]string{"protocol"}, args...), strings.NewReader(""), &o, &e)
	return o.String(), e.String(), code
}

// A protocol as a table: each number with its source and status; what is
// unresolved with each reading.
func TestProtocolTable(t *testing.T) {
	out, _, code := protocolOutput(t, "erc-2025")
	for _, want := range []string{Caution, "'at least 150 J' (quoted)", "ERC 2025 PLS, one reading: every 4 min",
		"the device's maximum", "child, drug"} {
		if code != 0 || !strings.Contains(out, want) {
			t.Errorf("exit %d, no %q in %.200s", code, want, out)
		}
	}
	out, _, _ = protocolOutput(t, "erc-2025", "--status", "memory", "--json")
	var doc struct {
		Lines []struct{ Name, Status string }
	}
	if err := json.Unmarshal([]byte(out), &doc); err != nil || len(doc.Lines) < 5 {
		t.Fatalf("%v: %d lines", err, len(doc.Lines))
	}
	for _, l := range doc.Lines {
		if l.Status != "memory" {
			t.Errorf("%s is %s", l.Name, l.Status)
		}
	}
}

// Two protocols, and a protocol with a site's overlay: only what differs.
func TestProtocolDifferences(t *testing.T) {
	out, _, _ := protocolOutput(t, "aha-2020", "aha-2025")
	if !strings.Contains(out, "flutter 1") || strings.Contains(out, "cycle_s") {
		t.Error(out)
	}
	site := filepath.Join(t.TempDir(), "site.yaml")
	text := "values:\n  cycle_warning_s: {value: 20, unit: s, source: our unit, status: memory}\n"
	if err := os.WriteFile(site, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	out, errs, code := protocolOutput(t, "aha-2025", site)
	if code != 0 || !strings.Contains(out, "20 s (memory)") || !strings.Contains(out, "1 differences") {
		t.Error(out, errs)
	}
	if out, _, _ := protocolOutput(t, "aha-2025", "aha-2025"); !strings.Contains(out, "say the same") {
		t.Error(out)
	}
}

// What is wrong is one line that says what to do.
func TestProtocolErrors(t *testing.T) {
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"aha-1900"}, "choose one of aha-2020, aha-2025, erc-2021, erc-2025"},
		{[]string{"aha-2025", "erc-1900"}, "choose one of"},
		{[]string{"aha-2025", "none.yaml"}, "none.yaml"},
		{[]string{"--status", "sure"}, "seen, secondary, memory, unresolved"},
		{[]string{"a", "b", "c"}, "one too many"},
	} {
		if _, errs, code := protocolOutput(t, c.args...); code == 0 || !strings.Contains(errs, c.want) || strings.Count(errs, "\n") != 1 {
			t.Errorf("%v: exit %d: %s", c.args, code, errs)
		}
	}
}
