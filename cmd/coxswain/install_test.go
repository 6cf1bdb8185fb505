package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"coxswain/audio"
	"coxswain/cmd/coxswain/coxtest"
)

// bareDebian is a Debian 12 with nothing in it but its base, in build/.
func bareDebian(t *testing.T) (in func(script string) string) {
	t.Helper()
	if _, err := exec.LookPath("debootstrap"); err != nil || os.Getuid() != 0 {
		t.Skip("no debootstrap, or not root: `make deb-test` runs this")
	}
	root, err := filepath.Abs("../../build/debian-12")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(root + "/etc/debian_version"); err != nil {
		t.Log("making a bare Debian 12")
		if b, err := exec.Command("debootstrap", "--variant=minbase", "bookworm", root).CombinedOutput(); err != nil {
			os.RemoveAll(root)
			t.Skipf("no Debian from here: %v: %.300s", err, b)
		}
	}
	return func(script string) string {
		t.Helper()
		cmd := exec.Command("unshare", "--mount", "sh", "-ec", `mount -t proc proc "$0/proc"; exec chroot "$0" /bin/sh -ec "$1"`, root, script)
		cmd.Env = []string{"PATH=/usr/sbin:/usr/bin:/sbin:/bin", "DEBIAN_FRONTEND=noninteractive", "LC_ALL=C"}
		b, err := cmd.CombinedOutput()
		if err != nil {
			t.Fatalf("%s: %v: %s", script, err, b)
		}
		return string(b)
	}
}

// The package installs in a bare Debian 12, works there, and leaves nothing
// behind when it is purged; records it never takes along.
func TestDebianPackage(t *testing.T) {
	found, _ := filepath.Glob("../../build/coxswain_*.deb")
	if len(found) != 1 {
		t.Skipf("%d packages in build/: `make deb-test` makes one", len(found))
	}
	deb, err := os.ReadFile(found[0])
	if err != nil {
		t.Fatal(err)
	}
	in := bareDebian(t)
	before := in("apt-get update -q; apt-get purge -qy coxswain >/dev/null 2>&1 || true; rm -rf /var/lib/coxswain; " +
		"userdel coxswain 2>/dev/null || true; apt-get install -qy --no-install-recommends libportaudio2 libspeexdsp1 systemd; " +
		"getent passwd | sort; find /etc /usr /lib/systemd /var/lib -name '*coxswain*' | sort")
	root := "../../build/debian-12"
	if err := os.WriteFile(root+"/tmp/coxswain.deb", deb, 0o644); err != nil {
		t.Fatal(err)
	}
	in("apt-get install -qy --no-install-recommends /tmp/coxswain.deb")
	if out := in("id coxswain; stat -c '%a %U' /var/lib/coxswain; coxswain --version"); !strings.Contains(out, "(audio)") ||
		!strings.Contains(out, "700 coxswain") {
		t.Errorf("user and folder: %s", out)
	}
	if out := in("systemd-analyze verify /lib/systemd/system/coxswain.service 2>&1 | grep coxswain || true"); out != "" {
		t.Errorf("systemd says of the unit: %s", out)
	}
	// No sound here: the service waits for it, with and without its settings, and ends when it is told to.
	run := "setpriv --reuid coxswain --regid audio --clear-groups timeout -s TERM 4 " +
		strings.TrimPrefix(in("grep -o '/usr/bin/coxswain run .*' /lib/systemd/system/coxswain.service"), "") + " 2>&1 || true"
	for _, step := range []string{"", "rm /etc/coxswain.yaml; "} {
		if out := in(step + strings.ReplaceAll(run, "\n", "")); strings.Contains(out, "coxswain.yaml") ||
			strings.Contains(out, "panic") || !strings.Contains(out, "sound device") {
			t.Errorf("the service's command says %s", out)
		}
	}
	writeWAV(t, root+"/tmp/in.wav", 48000, 1, 3*48000)
	in("rm -rf /tmp/r; coxswain replay /tmp/in.wav --out /tmp/r --quiet --record always; coxswain verify /tmp/r; rm -rf /tmp/r /tmp/in.wav")
	in("touch /var/lib/coxswain/a-record; apt-get purge -qy coxswain")
	if out := in("ls /var/lib/coxswain; getent passwd coxswain"); !strings.Contains(out, "a-record") {
		t.Errorf("purging took the records: %s", out)
	}
	in("apt-get install -qy --no-install-recommends /tmp/coxswain.deb; rm -rf /var/lib/coxswain/a-record; apt-get purge -qy coxswain")
	if after := in("getent passwd | sort; find /etc /usr /lib/systemd /var/lib -name '*coxswain*' | sort"); !strings.HasSuffix(before, after) {
		t.Errorf("purging left something: %s", after)
	}
}

// What coxswain itself keeps in the folder of records goes with a purge, and with it the folder: only
// records keep it.
func TestPurgeLeavesNoState(t *testing.T) {
	script, err := os.ReadFile("install/postrm.sh")
	if err != nil {
		t.Fatal(err)
	}
	state := regexp.MustCompile(`"(\.[a-z-]+(?:\.json|\.sock|\.lock)?)"`)
	for _, keeps := range []string{"", "2026-03-01T140000"} {
		folder, made := filepath.Join(t.TempDir(), "coxswain"), 0
		os.MkdirAll(filepath.Join(folder, keeps), 0o700)
		for _, file := range []string{"rig/tried.go", "ready/check.go", "monitor/monitor.go", "outbox/state.go", "outbox/collect.go"} {
			b, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range state.FindAllSubmatch(b, -1) {
				if name := string(m[1]); name != ".backup" && name != ".sent" && name != ".from" { // a site's own, and a record's
					os.WriteFile(filepath.Join(folder, name), nil, 0o600)
					made++
				}
			}
		}
		text := strings.NewReplacer("/var/lib/coxswain", folder, "/run/systemd/system", "/nowhere", "getent", "false").Replace(string(script))
		if b, err := exec.Command("sh", "-c", text, "postrm", "purge").CombinedOutput(); err != nil || made < 7 {
			t.Fatalf("%d files, %v: %s", made, err, b)
		}
		if left, _ := os.ReadDir(folder); len(left) != len(keeps)/17 {
			t.Errorf("purging leaves %v", left)
		}
	}
}

// The program for ARM, under emulation, hears what this one hears, to the last
// digit, and its replay writes the same events.
func TestARM64(t *testing.T) {
	qemu, err := exec.LookPath("qemu-aarch64-static")
	program, perr := filepath.Abs("../../build/arm64/coxswain")
	if _, serr := os.Stat(program); err != nil || perr != nil || serr != nil {
		t.Skip("no qemu-aarch64-static, or no program for it: `make arm64` builds it")
	}
	arm := []string{qemu, "-L", filepath.Dir(program) + "/root", program}
	wav := filepath.Join(t.TempDir(), "in.wav")
	if b, err := exec.Command("sox", "ready/selftest.wav", "-r", "48000", wav, "pad", "1", "3").CombinedOutput(); err != nil {
		t.Fatalf("sox: %v: %s", err, b)
	}
	here := ok(t, "listen", wav, "--json")
	there, err := exec.Command(arm[0], append(arm[1:], "listen", wav, "--json")...).Output()
	if err != nil || string(there) != here || !strings.Contains(here, "access.iv") {
		t.Errorf("%v: on ARM it hears %s, here %s", err, there, here)
	}
	out := filepath.Join(t.TempDir(), "r") // without binfmt_misc it cannot start itself: the command line does
	replay := append(arm[1:], "replay", wav, "--out", out, "--record", "always", "--quiet", "--recogniser", strings.Join(arm, " ")+" ear")
	cmd := exec.Command(arm[0], replay...)
	if b, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("replay: %v: %s", err, b)
	}
	_, samples, err := coxtest.Whole(out)
	if err != nil {
		t.Fatal(err)
	}
	took := cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime() // the recogniser's too
	t.Logf("replayed under emulation: %v of sound in %v of a core", audio.Duration(samples), took.Round(time.Millisecond))
	if table := ok(t, "timeline", out); !strings.Contains(table, "IV access") {
		t.Errorf("the replay's timeline is %s", table)
	}
	ok(t, "verify", out)
}

// What `coxswain config` prints, which is the package's example of settings, is
// taken by --config as it stands.
func TestExampleSettings(t *testing.T) {
	var lines []string
	for _, l := range strings.Split(strings.TrimSpace(ok(t, "config")), "\n") {
		if key, value, _ := strings.Cut(l, ":"); strings.TrimSpace(strings.Split(value, "\t#")[0]) != "" {
			lines = append(lines, key+":"+value)
		}
	}
	path := filepath.Join(t.TempDir(), "coxswain.yaml")
	if err := os.WriteFile(path, []byte(strings.Join(lines, "\n")), 0o600); err != nil || len(lines) < 10 {
		t.Fatal(len(lines), err)
	}
	if with, without := ok(t, "config", "--config", path), ok(t, "config"); with != without {
		t.Errorf("the defaults, taken for settings, are %s, want %s", with, without)
	}
}

// The unit file is one that systemd accepts.
func TestUnitFile(t *testing.T) {
	if _, err := exec.LookPath("systemd-analyze"); err != nil {
		t.Skip("no systemd-analyze: `make test` installs it")
	}
	path := filepath.Join(t.TempDir(), "coxswain.service")
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	text := strings.NewReplacer("/usr/local/bin/coxswain", self, "User=coxswain\n", "").Replace(unitFile)
	os.WriteFile(path, []byte(text), 0o644)
	if b, err := exec.Command("systemd-analyze", "verify", path).CombinedOutput(); err != nil || strings.Contains(string(b), path) {
		t.Errorf("%v: %s", err, b)
	}
}
