"""Generic device models: rounded figures for a class of part, from memory, no data sheet's.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""

from __future__ import annotations

_DIODES = """
.model DSIGNAL D(IS=3n N=1.9 RS=0.7 BV=100 IBV=1u CJO=2p TT=4n)
.model DRECTIFIER D(IS=5n N=1.8 RS=0.05 BV=400 IBV=1u CJO=20p TT=2u)
.model DPOWER D(IS=2u N=1.05 RS=50m BV=42 IBV=10u CJO=100p)
.model DSCHOTTKY D(IS=300n N=1.05 RS=1 BV=35 IBV=10u CJO=10p)
.model DCLAMP18 D(IS=1p N=1.2 RS=0.3 BV=20.5 IBV=1m CJO=600p M=0.4 TT=5n)
.model DCLAMPBIG D(IS=10p N=1.2 RS=0.08 BV=20.5 IBV=1m CJO=2n M=0.4 TT=5n)
.model DZENER12 D(IS=1f N=1.1 RS=8 BV=12 IBV=5m CJO=100p)
.model DLED D(IS=1e-20 N=2 RS=5 BV=5 IBV=1u CJO=30p)
.subckt CLAMP2 a b
D1 m a DCLAMP18
D2 m b DCLAMP18
.ends
.subckt CLAMP2BIG a b
D1 m a DCLAMPBIG
D2 m b DCLAMPBIG
.ends
"""

# Beta is filled in, for the corners.
_TRANSISTORS = """
.model QSWITCH NPN(IS=30f BF={switch:g} VAF=80 IKF=0.5 ISE=30f NE=1.6 BR=5 RB=10 RC=0.4 RE=0.15
+ CJE=40p VJE=0.75 MJE=0.35 CJC=15p VJC=0.6 MJC=0.35 TF=0.7n TR=80n)
.model QSMALL NPN(IS=10f BF={small:g} VAF=80 IKF=0.1 ISE=10f NE=1.6 BR=4 RB=20 RC=1 RE=0.3
+ CJE=8p MJE=0.35 CJC=4p MJC=0.33 TF=0.4n TR=200n)
.model QPNP PNP(IS=10f BF={small:g} VAF=60 IKF=0.1 ISE=10f NE=1.6 BR=4 RB=20 RC=1 RE=0.3
+ CJE=10p MJE=0.35 CJC=5p MJC=0.33 TF=0.6n TR=200n)
.model PFETPOWER VDMOS(PCHAN VTO=-3 KP=20 RD=9m RS=4m RG=5 CGS=3n CGDMAX=3n CGDMIN=300p
+ CJO=1.8n IS=1p RB=10m BV=55)
"""

# A resettable fuse is a resistor that grows with its own heat: node t is its temperature in
# degrees Celsius. It trips at about twice what it holds. A fuse melts at once by 1.1 of its
# current's square in A2s, in the end above 1.8 of its current: node h says how far it is, 1 is the
# point of no return. A transformer's core takes 11.25 mVs (2.5 V at 50 Hz): there its current is
# twice what its inductance says, beyond that far more.
_PASSIVES = """
.subckt PTC a b R0=6 RTH=240 CTH=0.06
B1 a b I=V(a,b)/({R0}*(1+min(exp((V(t)-100)/8),1e5)))
B2 0 t I=V(a,b)*V(a,b)/({R0}*(1+min(exp((V(t)-100)/8),1e5)))+temper/{RTH}
Rt t 0 {RTH}
Ct t 0 {CTH} IC=25
.ends
.subckt PTC100 a b
X1 a b PTC R0=6 RTH=240 CTH=0.06
.ends
.subckt PTC500 a b
X1 a b PTC R0=0.8 RTH=75 CTH=0.25
.ends
.subckt FUSE a b AMPS=1
B1 a b I=V(a,b)*{AMPS}/(0.09*(1+5e6*(1+tanh(20*(V(h)-1.5)))))
B2 0 h I=1e-9*(pwr(V(a,b)/(0.09*(1+5e6*(1+tanh(20*(V(h)-1.5))))),2)/1.1
+ +5e3*(1+tanh(50*(V(h)-1)))*(2-V(h)))*min(time*1e6,1)
Rh h 0 0.35g
Ch h 0 1n
.ends
.subckt TRIMMER a w b R=10k AT=0.5
Ra a w {R*(1-AT)+1}
Rb w b {R*AT+1}
.ends
.subckt LINE11 p1 p2 s1 s2
Rp p1 pa 50
Lp pa p2 2
Bp pa p2 I=0.5m*V(flux)*pwr(V(flux)*V(flux)/126.6,3)
Cp pa p2 1n
Gf 0 flux pa p2 1u
Cf flux 0 1n
Rf flux 0 1e15
Ls sa s2 2
K1 Lp Ls 0.999
Rs sa s1 50
Cw p1 s1 100p
.ends
"""

# One pole, a slew limit, clamps at the rails, a current limit.
_CHIPS = """
.subckt OPAMP inp inn vp vn out GBW=10meg SR=7meg HEAD=0.03 ROUT=30 ILIM=20m VOS=0
Vos inp x {VOS}
Rin inp inn 1g
B1 0 g I={SR*1e-9}*tanh({6.28319*GBW/SR}*V(x,inn))
C1 g 0 1n
R1 g 0 {1e5/(6.28319*GBW*1e-9)}
B2 g 0 I=0.1*(uramp(V(g)-V(vp)+{HEAD})-uramp(V(vn)+{HEAD}-V(g)))
B3 0 out I={ILIM}*tanh((V(g)-V(out))/({ROUT*ILIM}))
Rq vp vn 10k
.ends
.subckt OPAMP5 inp inn vp vn out
X1 inp inn vp vn out OPAMP
.ends
.subckt OPAMP15 inp inn vp vn out
X1 inp inn vp vn out OPAMP GBW=4meg SR=10meg HEAD=1.5 VOS=OFFSET
.ends
.subckt SCHMITT in out vcc gnd
Cin in gnd 5p
Rin in gnd 100meg
B1 a 0 V=tanh(200*(V(in,gnd)/max(V(vcc,gnd),0.1)-(0.47+0.108*V(s))))
R1 a s1 1k
C1 s1 0 5p
B2 s 0 V=-tanh(5*V(s1))
B3 o gnd V=V(vcc,gnd)*0.5*(1-tanh(5*V(s1)))
Ro o out 50
Rq vcc gnd 1meg
.ends
.subckt REGULATOR in gnd out SET=5
B1 x gnd V=max(min(V(in,gnd)-1.8,{SET}),0)
Rx x out 0.05
B2 in gnd I=max(V(x,out)/0.05,0)+0.004*min(max(V(in,gnd),0),1)
.ends
.subckt REGULATOR5 in gnd out
X1 in gnd out REGULATOR SET=5
.ends
.subckt REGULATOR8 in gnd out
X1 in gnd out REGULATOR SET=8
.ends
.subckt CONVERTER15 in ip p c m
B1 xp c V=15*min(max((V(ip,in)-6)/2,0),1)
B2 c xm V=15*min(max((V(ip,in)-6)/2,0),1)
Rp xp p 1
Rm xm m 1
B3 ip in I=max(0.03+1.6*(V(xp,p)+V(m,xm)),0)*min(max(V(ip,in)-6,0),1)
.ends
"""


def models(switch_beta: float = 200, small_beta: float = 180, offset: float = 0) -> str:
    """All models, with the current gains of the two transistor classes, and the volts of offset of
    the op-amp for 15 V.
    """
    transistors = _TRANSISTORS.format(switch=switch_beta, small=small_beta)
    return _DIODES + transistors + _PASSIVES + _CHIPS.replace("OFFSET", f"{offset:g}")
