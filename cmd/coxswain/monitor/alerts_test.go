package monitor

import (
	"net/http/httptest"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"

	"coxswain/cmd/coxswain/outbox"
	"coxswain/cmd/coxswain/session"
)

// The example alert rules ask only for metrics that there are, and Prometheus's own
// promtool (Debian's package prometheus) finds that they alert when they should.
func TestAlertRules(t *testing.T) {
	const dir = "../install/"
	rules, err := os.ReadFile(dir + "alerts.yaml")
	if err != nil {
		t.Fatal(err)
	}
	s := Watched{Latest: &session.Box{}, Turns: func() int64 { return 1 }, Outbox: func() *outbox.State { return &outbox.State{} }}
	w := httptest.NewRecorder()
	Handler(s).ServeHTTP(w, httptest.NewRequest("GET", "http://127.0.0.1/metrics", nil))
	asked := regexp.MustCompile(`coxswain_\w+`).FindAllString(string(rules), -1)
	if len(asked) < 8 {
		t.Errorf("the rules ask for %q only", asked)
	}
	for _, name := range asked {
		if !strings.Contains(w.Body.String(), "\n"+name+" ") {
			t.Errorf("the rules ask for %s, which is not served", name)
		}
	}
	promtool, err := exec.LookPath("promtool")
	if err != nil {
		t.Skip("no promtool: apt-get install prometheus")
	}
	for _, args := range [][]string{{"check", "rules", "alerts.yaml"}, {"test", "rules", "alerts_test.yaml"}} {
		cmd := exec.Command(promtool, args...)
		cmd.Dir = dir
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Errorf("promtool %v: %v: %s", args, err, out)
		}
	}
}
