// Takes the strobe and the channel bit into the clock's domain, two stages for each.
module bit_synchroniser (
    input  wire clock,
    input  wire reset,
    input  wire bit_strobe,
    input  wire bit_in,
    output wire take,       // for one clock: `bit_taken` is the next channel bit
    output wire bit_taken
);
    reg [1:0] strobe_stages;
    reg [1:0] bit_stages;

    always @(posedge clock)
        if (reset) begin
            strobe_stages <= 2'b00;
            bit_stages <= 2'b00;
        end else begin
            strobe_stages <= {strobe_stages[0], bit_strobe};
            bit_stages <= {bit_stages[0], bit_in};
        end

`ifdef FAULT_STROBE_BEFORE_DATA
    assign take = strobe_stages[0];
`else
    assign take = strobe_stages[1];
`endif
    assign bit_taken = bit_stages[1];
endmodule
