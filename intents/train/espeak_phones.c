// espeak_phones reads lines "voice<TAB>rate<TAB>pitch<TAB>out<TAB>text" and
// writes out.raw (s16le at the engine's rate, printed first) and out.pho
// (lines "seconds mnemonic"): espeak-ng's own phoneme event times are the
// frame targets that the acoustic model learns from.
// Build: cc espeak_phones.c -lespeak-ng -o espeak_phones
#include <espeak-ng/speak_lib.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static FILE *raw, *pho;

static int synth(short *wav, int n, espeak_EVENT *ev) {
	for (; ev->type != espeakEVENT_LIST_TERMINATED; ev++)
		if (ev->type == espeakEVENT_PHONEME)
			fprintf(pho, "%.3f %.8s\n", ev->audio_position / 1000.0, ev->id.string);
	if (wav && n > 0) fwrite(wav, 2, n, raw);
	return 0;
}

int main(void) {
	int rate = espeak_Initialize(AUDIO_OUTPUT_SYNCHRONOUS, 0, NULL, espeakINITIALIZE_PHONEME_EVENTS);
	if (rate < 0) { fprintf(stderr, "espeak_phones: cannot start espeak-ng\n"); return 1; }
	printf("%d\n", rate);
	espeak_SetSynthCallback(synth);
	char line[8192], path[4096];
	while (fgets(line, sizeof line, stdin)) {
		char *v = strtok(line, "\t"), *r = strtok(NULL, "\t"), *p = strtok(NULL, "\t"),
		     *o = strtok(NULL, "\t"), *t = strtok(NULL, "\n");
		if (!t) continue;
		if (espeak_SetVoiceByName(v) != EE_OK) { fprintf(stderr, "espeak_phones: no voice %s\n", v); continue; }
		espeak_SetParameter(espeakRATE, atoi(r), 0);
		espeak_SetParameter(espeakPITCH, atoi(p), 0);
		snprintf(path, sizeof path, "%s.raw", o); raw = fopen(path, "wb");
		snprintf(path, sizeof path, "%s.pho", o); pho = fopen(path, "w");
		if (!raw || !pho) { perror(path); return 1; }
		espeak_Synth(t, strlen(t) + 1, 0, POS_CHARACTER, 0, espeakCHARS_UTF8, NULL, NULL);
		espeak_Synchronize();
		fclose(raw); fclose(pho);
	}
	return 0;
}
