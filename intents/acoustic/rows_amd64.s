#include "textflag.h"

// LANES adds 16 of each 32 products to Y0 to Y7, two registers for each of the batch: Y8 and Y9 are
// the weights, from byte FIRST of them on.
#define LANES(FIRST, AGAIN) \
	VXORPS      Y0, Y0, Y0                          \
	VXORPS      Y1, Y1, Y1                          \
	VXORPS      Y2, Y2, Y2                          \
	VXORPS      Y3, Y3, Y3                          \
	VXORPS      Y4, Y4, Y4                          \
	VXORPS      Y5, Y5, Y5                          \
	VXORPS      Y6, Y6, Y6                          \
	VXORPS      Y7, Y7, Y7                          \
	XORQ        AX, AX                              \
AGAIN:                                              \
	VPMOVSXBD   FIRST(SI)(AX*1), Y8                 \
	VPMOVSXBD   FIRST+8(SI)(AX*1), Y9               \
	VCVTDQ2PS   Y8, Y8                              \
	VCVTDQ2PS   Y9, Y9                              \
	VMULPS      Y15, Y8, Y8                         \
	VMULPS      Y15, Y9, Y9                         \
	VFMADD231PS (4*FIRST)(R8)(AX*4), Y8, Y0         \
	VFMADD231PS (4*FIRST+32)(R8)(AX*4), Y9, Y1      \
	VFMADD231PS (4*FIRST)(R9)(AX*4), Y8, Y2         \
	VFMADD231PS (4*FIRST+32)(R9)(AX*4), Y9, Y3      \
	VFMADD231PS (4*FIRST)(R10)(AX*4), Y8, Y4        \
	VFMADD231PS (4*FIRST+32)(R10)(AX*4), Y9, Y5     \
	VFMADD231PS (4*FIRST)(R11)(AX*4), Y8, Y6        \
	VFMADD231PS (4*FIRST+32)(R11)(AX*4), Y9, Y7     \
	ADDQ        $32, AX                             \
	CMPQ        AX, CX                              \
	JNE         AGAIN

// SUM adds two registers to a sum, and what lies in its lanes to each other.
#define SUM(SUMY, SUMX, A, B, AT) \
	VADDPS       SUMY, A, SUMY         \
	VADDPS       SUMY, B, SUMY         \
	VEXTRACTF128 $1, SUMY, X8          \
	VADDPS       X8, SUMX, SUMX        \
	VPERMILPD    $1, SUMX, X8          \
	VADDPS       X8, SUMX, SUMX        \
	VMOVSHDUP    SUMX, X8              \
	VADDSS       X8, SUMX, SUMX        \
	VMOVSS       SUMX, AT(DI)

// func wideDots(sums *[batch]float32, row string, scale float32, x *float32, step int)
// Four products of a row at once, in two halves: sixteen registers hold no more.
TEXT ·wideDots(SB), NOSPLIT, $0-48
	MOVQ         sums+0(FP), DI
	MOVQ         row_base+8(FP), SI
	MOVQ         row_len+16(FP), CX
	VBROADCASTSS scale+24(FP), Y15
	MOVQ         x+32(FP), R8
	MOVQ         step+40(FP), R11
	SHLQ         $2, R11
	LEAQ         (R8)(R11*1), R9
	LEAQ         (R9)(R11*1), R10
	ADDQ         R10, R11
	LANES(0, first)
	VADDPS       Y0, Y1, Y10
	VADDPS       Y2, Y3, Y11
	VADDPS       Y4, Y5, Y12
	VADDPS       Y6, Y7, Y13
	LANES(16, second)
	SUM(Y10, X10, Y0, Y1, 0)
	SUM(Y11, X11, Y2, Y3, 4)
	SUM(Y12, X12, Y4, Y5, 8)
	SUM(Y13, X13, Y6, Y7, 12)
	VZEROUPPER
	RET
