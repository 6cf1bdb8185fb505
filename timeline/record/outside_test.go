package record

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coxswain/timeline"
)

// chainByPython checks a record from the package comment alone, with Python's
// hashlib, json and wave: an implementation of others, of the hash (FIPS 180-4)
// and of the file format.
const chainByPython = `
import hashlib, json, sys, wave
before, until, pcm, sounds = "", 0, b"", 0
w = wave.open(sys.argv[1] + "/audio-00.wav")
assert (w.getnchannels(), w.getsampwidth(), w.getframerate()) == (2, 2, 48000)
pcm = w.readframes(w.getnframes())
for n, line in enumerate(open(sys.argv[1] + "/events.jsonl", "rb")):
    said = json.loads(line)
    body, _, _ = line.rstrip(b"\n").rpartition(b',"sum":')
    before = hashlib.sha256(before.encode() + body + b"}").hexdigest()
    assert said["sum"] == before, "line %d" % (n + 1)
    assert n > 0 or said["format"] == 2
    if "sound" in said:
        s, sounds = said["sound"], sounds + 1
        assert s["from"] == until and hashlib.sha256(pcm[4 * s["from"]:4 * s["until"]]).hexdigest() == s["sha256"], s
        until = s["until"]
assert 4 * until == len(pcm) and sounds > 2
print(before)
`

func TestChainByAnother(t *testing.T) {
	if _, err := exec.LookPath("python3"); err != nil {
		t.Skip("no python3")
	}
	dir := finished(t, 25)
	if err := Amend(dir, timeline.Change{Do: "retract", Seq: 2, By: "AB", Reason: "a \"quote\", a < and an é"}, nil, time.Unix(0, 0),
		nil); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("python3", "-c", chainByPython, dir).CombinedOutput()
	if r := opened(t, dir); err != nil || strings.TrimSpace(string(out)) != r.Fingerprint() {
		t.Errorf("%v: Python says %s, we %s", err, out, r.Fingerprint())
	}
	edit(
		t,
		filepath.Join(dir, JournalName),
		func(b []byte) []byte { return []byte(strings.Replace(string(b), ":200", ":300", 1)) },
	)
	if out, err := exec.Command("python3", "-c", chainByPython, dir).CombinedOutput(); err == nil {
		t.Errorf("Python finds nothing in an edited journal: %s", out)
	}
}

// timeStampingAuthority configures openssl to be one.
const timeStampingAuthority = `[req]
distinguished_name = dn
x509_extensions = ext
prompt = no
[dn]
CN = test time-stamping authority
[ext]
extendedKeyUsage = critical,timeStamping
basicConstraints = critical,CA:true
[tsa]
default_tsa = one
[one]
serial = serial
signer_digest = sha256
default_policy = 1.2.3.4
digests = sha256
`

// A fingerprint is anchored with a time stamp of a third party (RFC 3161), here
// by OpenSSL's own authority: query, reply and check as the help says.
func TestTimeStamp(t *testing.T) {
	if _, err := exec.LookPath("openssl"); err != nil {
		t.Skip("no openssl")
	}
	dir := t.TempDir()
	p, err := verified(finished(t, 2))
	if err != nil {
		t.Fatal(err)
	}
	os.WriteFile(filepath.Join(dir, "tsa.cnf"), []byte(timeStampingAuthority), 0o600)
	openssl := func(ok bool, args ...string) {
		t.Helper()
		cmd := exec.Command("openssl", args...)
		cmd.Dir = dir
		if out, err := cmd.CombinedOutput(); (err == nil) != ok {
			t.Fatalf("openssl %s: %v: %s", strings.Join(args, " "), err, out)
		}
	}
	openssl(true, "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", "tsa.key", "-out", "tsa.crt",
		"-config", "tsa.cnf", "-days", "2")
	openssl(true, "ts", "-query", "-digest", p.Fingerprint, "-sha256", "-cert", "-out", "record.tsq")
	openssl(true, "ts", "-reply", "-config", "tsa.cnf", "-queryfile", "record.tsq",
		"-signer", "tsa.crt", "-inkey", "tsa.key", "-out", "record.tsr")
	openssl(true, "ts", "-verify", "-digest", p.Fingerprint, "-in", "record.tsr", "-CAfile", "tsa.crt")
	openssl(false, "ts", "-verify", "-digest", strings.Repeat("0", 64), "-in", "record.tsr", "-CAfile", "tsa.crt")
}
