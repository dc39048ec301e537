"""The stages in ngspice: what their edges, faults and waveforms come to.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""
